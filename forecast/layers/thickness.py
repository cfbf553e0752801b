"""Thickness of new layers: how thick is a sole, a guard or another layer when new, in mm?

Common practice, no source: leather 9 to 10 iron, 12 iron where the construction is for boots.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

__all__ = [
    "GUARD_MM",
    "HALF_SOLE_MM",
    "LEATHERS",
    "LIGHT_KINDS",
    "MM_BY_KIND",
    "MOST_GUARD_MM",
    "NEW_MM",
    "NEW_MM_BY_KIND",
    "USUAL_MM",
    "are_guards",
    "half_sole_mm",
    "is_guard",
    "other_thickness_mm",
    "usual_thickness_mm",
]

LIGHT_KINDS = ("women", "children")
LEATHERS = ("oak_bark_leather", "veg_tan_leather", "flexible_leather")

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
# Of the kind that the pair is built for, where it is not men; children's as women's.
_LIGHT_MM = {
    "oak_bark_leather": 3.5,
    "veg_tan_leather": 3.5,
    "flexible_leather": 3.0,
    "rubber": 3.5,
}
MM_BY_KIND: dict[str, dict[str, float]] = {
    "women": _LIGHT_MM,
    "children": _LIGHT_MM,
    "boots": {"oak_bark_leather": 6.0, "veg_tan_leather": 6.0, "rubber": 6.5},
}
FIRM_LEATHERS = LEATHERS[:2]

GUARD_MM, MOST_GUARD_MM = 1.8, 2.5  # a rubber guard over the sole: usual, and the thickest
# Other layers, men's weight: the middle of the usual range.
NEW_MM = {
    "sock": 1.2,
    "insole": 5.0,
    "filler": 3.5,
    "shank": 1.0,
    "welt": 3.0,
    "midsole": 3.0,
    "toe_piece": 4.0,
    "lifts": 20.0,
    "top_piece": 6.0,
}
_LIGHT_PARTS = {"insole": 3.5, "midsole": 2.3, "toe_piece": 3.0, "lifts": 15.0, "top_piece": 4.5}
NEW_MM_BY_KIND: dict[str, dict[str, float]] = {
    "women": _LIGHT_PARTS,
    "children": _LIGHT_PARTS,
    "boots": {"insole": 5.5, "midsole": 4.0, "top_piece": 8.0},
}
HALF_SOLE_MM = {"men": 4.5, "women": 3.5, "children": 3.5, "boots": 5.5}


def usual_thickness_mm(material: str, construction: str, kind: str | None = None) -> float:
    """Return how thick such a sole usually is when new, in mm; without a kind that of men's."""
    if kind in LIGHT_KINDS:
        return MM_BY_KIND[kind].get(material, USUAL_MM[material])
    if material in FIRM_LEATHERS and construction in BOOT_CONSTRUCTIONS:
        return BOOT_LEATHER_MM
    if material in FIRM_LEATHERS and construction == "cemented":
        return CEMENTED_LEATHER_MM
    return MM_BY_KIND.get(kind or "", {}).get(material, USUAL_MM[material])


def other_thickness_mm(part: str, kind: str | None = None) -> float:
    """Return how thick a layer beside the sole usually is when new, in mm."""
    return NEW_MM_BY_KIND.get(kind or "", {}).get(part, NEW_MM[part])


def half_sole_mm(kind: str | None = None) -> float:
    """Return how thick a leather half sole usually is at most, in mm."""
    return HALF_SOLE_MM[kind or "men"]


def are_guards(
    material: Sequence[str] | np.ndarray,
    new_mm: np.ndarray,
    cover: Sequence[str | None] | np.ndarray,
) -> np.ndarray:
    """Tell guards over the sole from soles: by the word of the cover, else thin rubber is one."""
    said = np.array([c if isinstance(c, str) else "" for c in cover], dtype=object)
    thin = (np.asarray(material, dtype=object) == "rubber") & (new_mm <= MOST_GUARD_MM)
    return np.asarray((said == "guard") | ((said == "") & thin))


@lru_cache(maxsize=4096)
def is_guard(material: str, new_mm: float, cover: str | None) -> bool:
    """Tell one guard over the sole from a sole."""
    return bool(are_guards([material], np.array([new_mm]), [cover])[0])
