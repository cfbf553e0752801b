"""Add page: what does the form for a pair offer, and which defaults does it name?

Usual thicknesses of new soles are common practice, no source: leather 9 to 10 iron, 12 iron where
the construction is for boots.
"""

from __future__ import annotations

from typing import Any

from solespan.dashboards import wording
from solespan.forecast.frames import CONSTRUCTIONS, DRESS_CODES, DRIVING_FEET, MATERIALS, WORKS
from solespan.forecast.planning.care import UPPERS
from solespan.forecast.priors import DEFAULT_LIMIT_MM

__all__ = ["pair_choices", "sole_choices", "usual_limit_mm", "usual_thickness_mm"]

USUAL_MM = {
    "oak_bark_leather": 5.0,
    "veg_tan_leather": 5.0,
    "flexible_leather": 4.5,
    "rubber": 5.0,
    "studded_rubber": 5.0,
    "lug_rubber": 9.0,
    "crepe": 8.0,
    "microcellular": 9.0,
}
BOOT_CONSTRUCTIONS = ("norwegian", "stitchdown")
BOOT_LEATHER_MM = 6.4
CEMENTED_LEATHER_MM = 4.0
LEATHERS = ("oak_bark_leather", "veg_tan_leather")
DRESS_HELP = {
    "formal": "weddings, evenings",
    "business": "office, town",
    "casual": "weekends",
    "outdoor": "country, bad weather",
}
RESOLING = ("full_sole", "half_sole")


def usual_thickness_mm(material: str, construction: str) -> float:
    """Return how thick such a sole usually is when new, in mm."""
    if material in LEATHERS and construction in BOOT_CONSTRUCTIONS:
        return BOOT_LEATHER_MM
    if material in LEATHERS and construction == "cemented":
        return CEMENTED_LEATHER_MM
    return USUAL_MM[material]


def usual_limit_mm(material: str) -> float:
    """Return the thickness at the ball at which such a sole is replaced, in mm."""
    return DEFAULT_LIMIT_MM[material]["ball"]


def _words(values: tuple[str, ...]) -> list[tuple[str, str]]:
    return [(value, wording.spaced(value)) for value in values]


def _usual(material: str) -> str:
    new, limit = USUAL_MM[material], usual_limit_mm(material)
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
        "driving_feet": [("", "not said"), *_words(DRIVING_FEET)],
    }
