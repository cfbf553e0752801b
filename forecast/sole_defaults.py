"""Usual thickness of a new sole, in mm, by material and construction.

Common practice, no source: leather 9 to 10 iron, 12 iron where the construction is for boots.
"""

from __future__ import annotations

__all__ = ["USUAL_MM", "usual_thickness_mm"]

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


def usual_thickness_mm(material: str, construction: str) -> float:
    """Return how thick such a sole usually is when new, in mm."""
    if material in LEATHERS and construction in BOOT_CONSTRUCTIONS:
        return BOOT_LEATHER_MM
    if material in LEATHERS and construction == "cemented":
        return CEMENTED_LEATHER_MM
    return USUAL_MM[material]
