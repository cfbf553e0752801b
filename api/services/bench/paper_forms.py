"""Paper forms service.

How do the papers of an order look as the fields of a form, and what was typed into them?

A field is named by shoe and measure, as `left-width-ball`. Numbers may have a decimal comma, and
heel layers stand in one field with spaces or semicolons between them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel

from solespan.api.schemas.bench.orders import Condition, FootCondition, Record
from solespan.api.services.bench.order_forms import FieldOf, validated
from solespan.api.services.page_forms import FormProblem
from solespan.forecast.bench.shoe_record import WIDTHS
from solespan.forecast.frames import FEET, POINTS

__all__ = ["PAPER_READERS", "typed_of"]

Typed = Mapping[str, str]
M = TypeVar("M", bound=BaseModel)
PARTS = tuple(name for name in FootCondition.model_fields if name != "note")
NUMBERS = ("edge_taper_mm", "pitch_degrees", "stitches_per_inch", "nails", "tacks")
_BOUNDS = {
    "thickness_mm": "give a number from 0 to 40 mm",
    "width_mm": "give a number from 0 to 200 mm",
    "edge_taper_mm": "give a number from 0 to 40 mm",
    "heel_layers_mm": "give up to 20 heights from 0 to 40 mm, such as 6 4 4",
    "pitch_degrees": "give a number from -30 to 60 degrees",
    "stitches_per_inch": "give a number over 0, up to 40",
    "nails": "give a whole number from 0 to 500",
    "tacks": "give a whole number from 0 to 500",
    "value_mm": "give a number from 0 to 40 mm",
}


def _text(typed: Typed, name: str) -> str:
    return typed.get(name, "").strip()


def _number(text: str) -> str:
    return text.replace(",", ".")


def read_condition(typed: Typed) -> Condition:
    """Read the condition report. Raises `FormProblem`."""
    readings: list[dict[str, str]] = []
    names: list[str] = []
    for foot in FEET:
        for point in POINTS:
            found = {}
            if value := _text(typed, f"{foot}-{point}-mm"):
                found["value_mm"] = _number(value)
            if grade := _text(typed, f"{foot}-{point}-grade"):
                found["grade"] = grade
            if found:
                method = _text(typed, "method") or "caliper"
                readings.append({"foot": foot, "point": point, "method": method, **found})
                names.append(f"{foot}-{point}")
    shoes = {
        foot: {part: _text(typed, f"{foot}-{part}") or "not seen" for part in PARTS}
        | {"note": _text(typed, f"{foot}-note")}
        for foot in FEET
    }

    def field_of(loc: tuple[int | str, ...]) -> str:
        if loc[0] == "readings" and len(loc) > 2:
            ending = {"value_mm": "-mm", "grade": "-grade"}.get(str(loc[2]), "")
            return f"{names[int(loc[1])]}{ending}" if ending else str(loc[2])
        return "-".join(str(part) for part in loc)

    return _telling(Condition, {"readings": readings, **shoes}, field_of)


def read_record(typed: Typed) -> Record:
    """Read the shoe's record, before stripping or of the finished pair. Raises `FormProblem`."""
    values: dict[str, Any] = {foot: _measures(typed, foot) for foot in FEET}
    if channel := _text(typed, "channel"):
        values["channel"] = channel
    if plate := _text(typed, "toe_plate"):
        values["toe_plate"] = plate == "yes"
    for name in ("edge_colour", "bottom_colour"):
        values[name] = _text(typed, name)
    measured = any(
        values[foot][group]
        for foot in FEET
        for group in ("thickness_mm", "width_mm", "heel_layers_mm")
    )
    if not measured:
        raise FormProblem({"": "No measure is given; measure both shoes."})

    def field_of(loc: tuple[int | str, ...]) -> str:
        if len(loc) > 2 and loc[1] in ("thickness_mm", "width_mm"):
            return f"{loc[0]}-{str(loc[1]).removesuffix('_mm')}-{loc[2]}"
        return "-".join(str(part) for part in loc[:2])

    return _telling(Record, values, field_of)


def _measures(typed: Typed, foot: str) -> dict[str, Any]:
    thickness = {p: _text(typed, f"{foot}-thickness-{p}") for p in POINTS}
    width = {p: _text(typed, f"{foot}-width-{p}") for p in WIDTHS}
    out: dict[str, Any] = {
        "thickness_mm": {p: _number(t) for p, t in thickness.items() if t},
        "width_mm": {p: _number(t) for p, t in width.items() if t},
        "heel_layers_mm": [
            _number(part) for part in re.split(r"[;\s]+", _text(typed, f"{foot}-heel_layers_mm"))
            if part
        ],
    }  # fmt: skip
    for name in NUMBERS:
        if text := _text(typed, f"{foot}-{name}"):
            out[name] = _number(text)
    return out


def _telling(kind: type[M], values: Mapping[str, Any], field_of: FieldOf) -> M:
    """Make the paper; say what a measure accepts instead of what a validator misses."""
    named: dict[str, str] = {}

    def remembered(loc: tuple[int | str, ...]) -> str:
        name = str(field_of(loc))
        of = next((str(part) for part in reversed(loc) if part in _BOUNDS), "")
        named[name] = _BOUNDS.get(of, "")
        return name

    try:
        return validated(kind, values, remembered)
    except FormProblem as problem:
        raise FormProblem({n: named.get(n) or told for n, told in problem.errors.items()}) from None


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
            out[f"{foot}-{part}"] = paper[foot][part]
    return out


def _typed_record(paper: Mapping[str, Any]) -> dict[str, str]:
    out: dict[str, str] = {}
    for foot in FEET:
        shoe = paper[foot]
        for group, short in (("thickness_mm", "thickness"), ("width_mm", "width")):
            for place, value in shoe[group].items():
                out[f"{foot}-{short}-{place}"] = f"{value:g}"
        out[f"{foot}-heel_layers_mm"] = " ".join(f"{v:g}" for v in shoe["heel_layers_mm"])
        for name in NUMBERS:
            if shoe[name] is not None:
                out[f"{foot}-{name}"] = f"{shoe[name]:g}"
    out["channel"] = paper["channel"] or ""
    if paper["toe_plate"] is not None:
        out["toe_plate"] = "yes" if paper["toe_plate"] else "no"
    out |= {name: paper[name] for name in ("edge_colour", "bottom_colour")}
    return out
