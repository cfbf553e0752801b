"""Carriers of the outseam: what does a sole's seam hold to, and how many soles can it still take?

Counts are common practice, no source, and only warn: the signs on the shoe decide.
"""

from __future__ import annotations

from dataclasses import dataclass

from solespan.forecast.frames import CONSTRUCTIONS
from solespan.forecast.layers.thickness import LEATHERS

__all__ = ["CARRIERS", "Carrier", "admits", "is_at_its_end", "remaining_soles"]


@dataclass(frozen=True)
class Carrier:
    """What holds the sole.

    outseams, least, most : seams it usually stands, the first included, and the range.
    renewals : how often it can be renewed; 0 = never.
    soles, least_soles, most_soles : new soles of the shoe's life after the first, and the range.
    """

    name: str
    outseams: int
    least: int
    most: int
    renewals: int
    soles: int
    least_soles: int
    most_soles: int


CARRIERS: dict[str, Carrier] = {
    "goodyear_welted": Carrier("the welt on its gemming", 3, 3, 4, 1, 5, 3, 8),
    "hand_welted": Carrier("the welt in the holdfast", 4, 3, 5, 2, 8, 5, 10),
    "norwegian": Carrier("the upper's flange or the welt", 3, 2, 4, 1, 4, 3, 5),
    "stitchdown": Carrier("the upper's flange", 3, 2, 4, 0, 2, 1, 3),
    "blake": Carrier("the insole", 3, 2, 4, 0, 2, 1, 3),
    "blake_rapid": Carrier("the midsole", 3, 3, 4, 1, 4, 3, 6),
    "cemented": Carrier("the bonded margin of the upper", 2, 1, 3, 0, 1, 0, 2),
}
WELTED = ("goodyear_welted", "hand_welted", "norwegian")
# Units in one piece: half of one cannot be replaced.
UNITS = ("lug_rubber", "crepe", "microcellular")
if set(CARRIERS) != set(CONSTRUCTIONS):
    raise RuntimeError("every construction needs its carrier")


def is_at_its_end(construction: str, seams: int) -> bool:
    """Say whether a carrier has had as many outseams as it usually stands."""
    return seams >= CARRIERS[construction].outseams


def remaining_soles(construction: str, soles_had: int) -> tuple[int, int, int]:
    """New soles that a shoe can still take after `soles_had`, the first included.

    Returns
    -------
    (int, int, int)
        The least, the usual and the most.
    """
    one = CARRIERS[construction]
    had = max(soles_had, 1) - 1
    return (
        max(0, one.least_soles - had),
        max(0, one.soles - had),
        max(0, one.most_soles - had),
    )


def admits(work: str, construction: str, material: str) -> str:
    """Say why a construction or a sole does not admit a work; empty = it does.

    Parameters
    ----------
    work, construction, material : words of `forecast.frames`; the material that is there now.
    """
    how = construction.replace("_", " ")
    if work == "rewelt" and construction not in WELTED:
        return f"a {how} shoe has no welt to replace"
    if work == "half_sole" and material in UNITS:
        return f"a {material.replace('_', ' ')} sole is one unit"
    if work == "half_sole" and construction == "cemented" and material not in LEATHERS:
        return "a half sole on a cemented shoe needs a leather sole"
    if work == "restitch" and construction == "cemented":
        return "a cemented shoe has no seam"
    if work == "guard" and material not in (*LEATHERS, "rubber"):
        return "a guard needs a smooth sole below it"
    return ""
