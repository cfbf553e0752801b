"""Add page: what does the form for a pair offer, and which defaults does it name?"""

from __future__ import annotations

from typing import Any

from solespan.dashboards import wording
from solespan.forecast.frames import (
    CONSTRUCTIONS,
    DRESS_CODES,
    DRIVING_FEET,
    KINDS,
    MATERIALS,
    SHOE_FORMS,
    WORKS,
)
from solespan.forecast.layers.limits import default_limit_mm
from solespan.forecast.layers.thickness import USUAL_MM
from solespan.forecast.planning.care import UPPERS

__all__ = ["pair_choices", "sole_choices"]

DRESS_HELP = {
    "formal": "weddings, evenings",
    "business": "office, town",
    "casual": "weekends",
    "outdoor": "country, bad weather",
}
RESOLING = ("full_sole", "half_sole")


def _words(values: tuple[str, ...]) -> list[tuple[str, str]]:
    return [(value, wording.spaced(value)) for value in values]


def _usual(material: str) -> str:
    new, limit = USUAL_MM[material], default_limit_mm(material, "ball", USUAL_MM[material])
    return f"{wording.spaced(material)} (new {new:g} mm, limit {limit:g} mm)"


def sole_choices() -> dict[str, Any]:
    """List what a form for a sole offers; each material says its usual thickness and limit."""
    return {
        "materials": [(value, _usual(value)) for value in MATERIALS],
        "units": [("mm", "mm"), ("iron", "iron (1/48 in)")],
        "works": [
            (value, wording.spaced(value) + (", a new sole" if value in RESOLING else ""))
            for value in WORKS
        ],
    }


def pair_choices() -> dict[str, Any]:
    """List what the form for a pair offers."""
    return sole_choices() | {
        "constructions": _words(CONSTRUCTIONS),
        "dress_codes": [(code, f"{code}: {DRESS_HELP[code]}") for code in DRESS_CODES],
        "uppers": _words(UPPERS),
        "kinds": [("", "men, unless said"), *_words(KINDS)],
        "shoe_forms": [("", "as its name says"), *_words(SHOE_FORMS)],
        "driving_feet": [("", "not said"), *_words(DRIVING_FEET)],
    }
