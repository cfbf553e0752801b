"""Paper forms: how do papers look as fields, and which measures were typed?

A field is named by shoe and measure, as `left-width-ball`; heel layers stand in one field with
spaces or semicolons between them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from solespan.api.schemas.bench.orders import Condition, FootCondition, FootMeasures, Record
from solespan.api.schemas.forms import (
    FormProblem,
    Typed,
    Values,
    given,
    text_of,
    validated,
    with_point,
)
from solespan.forecast.bench.shoe_record import EDGE_LAYERS, WIDTHS
from solespan.forecast.frames import FEET, POINTS

__all__ = ["PAPER_READERS", "typed_of"]

PARTS = tuple(name for name in FootCondition.model_fields if name != "note")
NUMBERS = ("edge_taper_mm", "pitch_degrees", "stitches_per_inch", "nails", "tacks")
_PLACES = {"thickness": POINTS, "width": WIDTHS, "layers": EDGE_LAYERS}
_SAYS = {
    "heel_layers_mm": "give up to 20 heights from 0 to 40 mm, such as 6 4 4",
    "stitches_per_inch": "give a number over 0, up to 40",
}


def read_condition(typed: Typed) -> Condition:
    """Read the condition report. Raises `FormProblem`."""
    readings: list[dict[str, str]] = []
    names: list[str] = []
    for foot in FEET:
        for point in POINTS:
            name = f"{foot}-{point}"
            value, grade = text_of(typed, f"{name}-mm"), text_of(typed, f"{name}-grade")
            if value or grade:
                found = {"value_mm": with_point(value)} if value else {}
                found |= {"grade": grade} if grade else {}
                method = text_of(typed, "method") or "caliper"
                readings.append({"foot": foot, "point": point, "method": method, **found})
                names.append(name)
    shoes = {foot: given(FootCondition, typed, prefix=f"{foot}-") for foot in FEET}

    def field_of(loc: tuple[int | str, ...]) -> str:
        if loc[0] == "readings" and len(loc) > 2:
            ending = {"value_mm": "-mm", "grade": "-grade"}.get(str(loc[2]), "")
            return f"{names[int(loc[1])]}{ending}" if ending else str(loc[2])
        return "-".join(str(part) for part in loc)

    return validated(Condition, {"readings": readings, **shoes}, field_of)


def read_record(typed: Typed) -> Record:
    """Read the shoe's record, before stripping or of the finished pair. Raises `FormProblem`."""
    values = given(Record, typed) | {foot: _measures(typed, foot) for foot in FEET}
    if plate := text_of(typed, "toe_plate"):
        values["toe_plate"] = plate == "yes"
    else:
        values.pop("toe_plate")
    groups = ("thickness_mm", "width_mm", "heel_layers_mm")
    if not any(values[foot][group] for foot in FEET for group in groups):
        raise FormProblem({"": "No measure is given; measure both shoes."})

    def field_of(loc: tuple[int | str, ...]) -> str:
        if len(loc) > 2 and loc[1] in ("thickness_mm", "width_mm", "layers_mm"):
            return f"{loc[0]}-{str(loc[1]).removesuffix('_mm')}-{loc[2]}"
        return "-".join(str(part) for part in loc[:2])

    return validated(Record, values, field_of, _SAYS)


def _measures(typed: Typed, foot: str) -> Values:
    values = given(FootMeasures, typed, prefix=f"{foot}-")
    for group, places in _PLACES.items():
        read = {place: with_point(text_of(typed, f"{foot}-{group}-{place}")) for place in places}
        values[f"{group}_mm"] = {place: text for place, text in read.items() if text}
    layers = re.split(r"[;\s]+", text_of(typed, f"{foot}-heel_layers_mm"))
    return values | {"heel_layers_mm": [with_point(part) for part in layers if part]}


PAPER_READERS: dict[str, Callable[[Typed], Condition | Record]] = {
    "condition": read_condition,
    "before": read_record,
    "after": read_record,
}


def typed_of(kind: str, paper: Mapping[str, Any] | None) -> dict[str, str]:
    """Write a filed paper as what would have been typed; nothing for a paper not yet filed."""
    if paper is None:
        return {}
    return _typed_condition(paper) if kind == "condition" else _typed_record(paper)


def _typed_condition(paper: Mapping[str, Any]) -> dict[str, str]:
    out: dict[str, str] = {}
    for reading in paper["readings"]:
        name = f"{reading['foot']}-{reading['point']}"
        if reading["value_mm"] is not None:
            out[f"{name}-mm"] = f"{reading['value_mm']:g}"
            out["method"] = reading["method"]
        if reading["grade"] is not None:
            out[f"{name}-grade"] = reading["grade"]
    for foot in FEET:
        for part in (*PARTS, "note"):
            out[f"{foot}-{part}"] = paper[foot].get(part, "not seen")
    return out


def _typed_record(paper: Mapping[str, Any]) -> dict[str, str]:
    out: dict[str, str] = {}
    for foot in FEET:
        shoe = paper[foot]
        for short in _PLACES:
            for place, value in shoe.get(f"{short}_mm", {}).items():
                out[f"{foot}-{short}-{place}"] = f"{value:g}"
        out[f"{foot}-heel_shape"] = shoe.get("heel_shape", "")
        out[f"{foot}-heel_layers_mm"] = " ".join(f"{v:g}" for v in shoe["heel_layers_mm"])
        for name in NUMBERS:
            if shoe[name] is not None:
                out[f"{foot}-{name}"] = f"{shoe[name]:g}"
    out["channel"] = paper["channel"] or ""
    if paper["toe_plate"] is not None:
        out["toe_plate"] = "yes" if paper["toe_plate"] else "no"
    out |= {name: paper[name] for name in ("edge_colour", "bottom_colour")}
    return out
