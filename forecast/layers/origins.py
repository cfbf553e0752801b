"""Origins of defaults: which numbers does the bottom of a shoe start from, and who says so?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from solespan.forecast.layers import carriers, limits, thickness
from solespan.forecast.layers.stack import SOURCE

__all__ = ["Default", "layer_defaults"]


@dataclass(frozen=True)
class Default:
    """One default: what it is of, its value and unit, where it comes from."""

    what: str
    value: float
    unit: str
    origin: str = SOURCE


def layer_defaults() -> Iterator[Default]:
    """Give every default of layers, limits and carriers."""
    for material, mm in thickness.USUAL_MM.items():
        yield Default(f"new sole, {_said(material)}", mm, "mm")
    boots = " and ".join(thickness.BOOT_CONSTRUCTIONS)
    yield Default(f"new leather sole, {boots}", thickness.BOOT_LEATHER_MM, "mm")
    yield Default("new leather sole, cemented", thickness.CEMENTED_LEATHER_MM, "mm")
    yield Default("new guard", thickness.GUARD_MM, "mm")
    yield Default("thickest guard", thickness.MOST_GUARD_MM, "mm")
    for part, mm in thickness.NEW_MM.items():
        yield Default(f"new {_said(part)}", mm, "mm")
    yield from _by_kind()
    for material, points in limits.DEFAULT_LIMIT_MM.items():
        for point, mm in points.items():
            yield Default(f"limit, {_said(material)} at the {point}", mm, "mm")
    yield Default(
        "limit of leather at the ball, of its new thickness", limits.LEATHER_SHARE, "share"
    )
    yield Default("least limit of leather at the ball", limits.LEAST_LEATHER_MM, "mm")
    yield Default("most limit of leather at the ball", limits.MOST_LEATHER_MM, "mm")
    yield Default("height of new lugs", limits.LUG_HEIGHT_MM, "mm")
    yield Default("height of lugs at their limit", limits.LUG_LEFT_MM, "mm")
    yield Default("most limit of leather over a midsole", limits.MIDSOLE_LIMIT_MM, "mm")
    yield Default("limit of a thin top piece, of its thickness", limits.TOP_PIECE_SHARE, "share")
    for part, mm in limits.OTHER_LIMIT_MM.items():
        yield Default(f"limit, {_said(part)}", mm, "mm")
    for construction, one in carriers.CARRIERS.items():
        how = _said(construction)
        yield Default(f"seams that {one.name} stands, {how}", one.outseams, "seams")
        yield Default(f"renewals of {one.name}, {how}", one.renewals, "times")
        yield Default(f"new soles after the first, {how}", one.soles, "soles")
    yield Default("soles of one more new welt", carriers.SOLES_PER_REWELT, "soles")


def _by_kind() -> Iterator[Default]:
    for kind, of_kind in thickness.MM_BY_KIND.items():
        for material, mm in of_kind.items():
            yield Default(f"new sole, {_said(material)}, {kind}", mm, "mm")
    for kind, of_kind in thickness.NEW_MM_BY_KIND.items():
        for part, mm in of_kind.items():
            yield Default(f"new {_said(part)}, {kind}", mm, "mm")
    for kind, mm in thickness.HALF_SOLE_MM.items():
        yield Default(f"half sole in a quote, at most, {kind}", mm, "mm")


def _said(word: str) -> str:
    return word.replace("_", " ")
