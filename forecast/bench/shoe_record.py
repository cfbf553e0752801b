"""Shoe record and tolerances.

Does the finished pair match its record from before stripping, and its left shoe its right?

A record holds, foot by foot, the thickness at each point, the widths, the heel stack layer by
layer, pitch and stitches. A worn point cannot be compared with the new sole. So only the
waist, which does not wear, is compared with the record. Left is compared with right everywhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from solespan.forecast.frames import FEET, POINTS

__all__ = [
    "EDGE_LAYERS",
    "WIDTHS",
    "FootRecord",
    "Mismatch",
    "ShoeRecord",
    "Tolerances",
    "mismatches",
]

WIDTHS = ("ball", "waist", "heel_seat")
# Layers below the foot that a record measures at the edge; none of them wears.
EDGE_LAYERS = ("welt", "midsole", "insole")


@dataclass(frozen=True)
class FootRecord:
    """One shoe: millimetres, degrees, stitches per inch; a missing measure is left out or None."""

    thickness_mm: Mapping[str, float] = field(default_factory=dict)
    width_mm: Mapping[str, float] = field(default_factory=dict)
    edge_taper_mm: float | None = None
    heel_layers_mm: tuple[float, ...] = ()
    heel_shape: str = ""
    layers_mm: Mapping[str, float] = field(default_factory=dict)
    pitch_degrees: float | None = None
    stitches_per_inch: float | None = None
    nails: int | None = None
    tacks: int | None = None


@dataclass(frozen=True)
class ShoeRecord:
    """Both shoes, and what they share."""

    left: FootRecord
    right: FootRecord
    channel: str | None = None
    toe_plate: bool | None = None

    def foot(self, name: str) -> FootRecord:
        """Return the left or the right shoe."""
        return self.left if name == "left" else self.right


@dataclass(frozen=True)
class Tolerances:
    """How far measures may differ; the defaults are common practice, no source."""

    width_mm: float = 0.5
    thickness_mm: float = 0.3
    pitch_degrees: float = 1.0
    stitches_per_inch: float = 0.5


@dataclass(frozen=True)
class Mismatch:
    """One measure that is out: its name, what was compared, both values, and what is allowed.

    A value of None says that the measure was not taken on the finished pair.
    """

    measure: str
    compared: str
    wanted: float | str | None
    found: float | str | None
    allowed: float


def mismatches(before: ShoeRecord, after: ShoeRecord, allowed: Tolerances) -> list[Mismatch]:
    """List every measure of the finished pair that is out, or was taken before and not after.

    Parameters
    ----------
    before, after : ShoeRecord
        Before stripping, and of the finished pair.
    allowed : Tolerances

    Returns
    -------
    list of Mismatch
        Empty when all is well. Swapping left and right in both swaps them in the answer.
    """
    out: list[Mismatch] = []
    for foot in FEET:
        old, new = _measures(before.foot(foot), allowed), _measures(after.foot(foot), allowed)
        for name, (value, reach) in old.items():
            worn = name.startswith("thickness") and "waist" not in name
            found = new.get(name, (None, reach))[0]
            if found is None or (not worn and abs(found - value) > reach + 1e-9):
                out.append(Mismatch(f"{foot} {name}", "after against before", value, found, reach))
        layers = len(before.foot(foot).heel_layers_mm), len(after.foot(foot).heel_layers_mm)
        if layers[0] != layers[1]:
            out.append(Mismatch(f"{foot} heel layers", "after against before", *layers, 0))
        shapes = before.foot(foot).heel_shape, after.foot(foot).heel_shape
        if shapes[0] and shapes[0].casefold() != shapes[1].casefold():
            out.append(Mismatch(f"{foot} heel shape", "after against before", *shapes, 0))
    left, right = _measures(after.left, allowed), _measures(after.right, allowed)
    for name in left.keys() & right.keys():
        value, reach = left[name]
        if abs(right[name][0] - value) > reach + 1e-9:
            out.append(Mismatch(name, "right against left", value, right[name][0], reach))
    if before.channel and after.channel and before.channel != after.channel:
        out.append(Mismatch("channel", "after against before", before.channel, after.channel, 0))
    if before.toe_plate is not None and after.toe_plate != before.toe_plate:
        told = [
            None if x is None else "yes" if x else "no" for x in (before.toe_plate, after.toe_plate)
        ]
        out.append(Mismatch("toe plate", "after against before", told[0], told[1], 0))
    return sorted(out, key=lambda m: (m.measure, m.compared))


def _measures(shoe: FootRecord, allowed: Tolerances) -> dict[str, tuple[float, float]]:
    return dict(_each(shoe, allowed))


def _each(shoe: FootRecord, allowed: Tolerances) -> Iterator[tuple[str, tuple[float, float]]]:
    groups = (
        ("thickness at {}", POINTS, shoe.thickness_mm, allowed.thickness_mm),
        ("width at {}", WIDTHS, shoe.width_mm, allowed.width_mm),
        ("{} thickness", EDGE_LAYERS, shoe.layers_mm, allowed.thickness_mm),
    )
    for name, places, measures, reach in groups:
        for place in places:
            if measures.get(place) is not None:
                yield name.format(place.replace("_", " ")), (measures[place], reach)
    if shoe.edge_taper_mm is not None:
        yield "edge taper", (shoe.edge_taper_mm, allowed.width_mm)
    for i, height in enumerate(shoe.heel_layers_mm, start=1):
        yield f"heel layer {i}", (height, allowed.thickness_mm)
    if shoe.heel_layers_mm:
        # layers that are each well may still add up to a shoe that stands crooked
        yield "heel height", (sum(shoe.heel_layers_mm), allowed.thickness_mm)
    if shoe.pitch_degrees is not None:
        yield "pitch", (shoe.pitch_degrees, allowed.pitch_degrees)
    if shoe.stitches_per_inch is not None:
        yield "stitches per inch", (shoe.stitches_per_inch, allowed.stitches_per_inch)
