"""Job papers page.

How do the forms of an order's papers look: which rows, for the left and the right shoe?
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.dashboards.pages.bench.job import PAPER_WORDS
from solespan.dashboards.pages.bench.job_steps import CHANNELS
from solespan.dashboards.pages.rack.pair import FormState
from solespan.forecast.bench.findings import PARTS
from solespan.forecast.bench.shoe_record import EDGE_LAYERS, WIDTHS
from solespan.forecast.frames import FEET, GRADES, POINTS

__all__ = ["PAPER_TITLES", "paper_page"]

PAPER_TITLES = {
    "condition": "Condition at reception",
    "before": "Measures before stripping",
    "after": "Measures of the finished pair",
}
_HELP = {
    "condition": "Both shoes, all points. Empty fields are not logged. Readings become checks "
    "of the pair, so its forecast follows them.",
    "before": "Both shoes, before anything is cut: the finished pair is compared with these. After "
    "stripping they can no longer be taken.",
    "after": "The same measures as before. Measures out of tolerance are marked. "
    "Each needs a reason before the pair counts as checked.",
}
STATES = ("good", "worn", "broken", "missing", "wet", "not seen")
_METHODS = (("caliper", "caliper"), ("depth_gauge", "depth gauge"), ("ultrasonic", "ultrasonic"))


def paper_page(
    kind: str, form: FormState, *, order: Mapping[str, Any], pair: str, trouble: str
) -> dict[str, Any]:
    """Gather the form of one paper.

    Parameters
    ----------
    kind : `condition`, `before` or `after`
    form : FormState
        What stands in the fields, and what is wrong.
    trouble : str
        What kept the paper from being filed; empty = nothing.
    """
    groups = _condition() if kind == "condition" else _record()
    return {
        "kind": kind,
        "title": PAPER_TITLES[kind],
        "help": _HELP[kind],
        "order_id": order["order_id"],
        "pair": pair,
        "filed": kind in order["papers"],
        "closed": kind == "before" and kind in order["papers"] and order["stage"] == "on_bench",
        "form": form,
        "trouble": trouble,
        "problem_words": _problem_words(form, groups),
        "groups": groups,
        "feet": FEET,
        "hints": _hints(order["papers"].get("before")) if kind == "after" else {},
        "channel_options": CHANNELS,
        "method_options": _METHODS,
        "paper_words": PAPER_WORDS[kind],
    }


def _problem_words(form: FormState, groups: list[dict[str, Any]]) -> str:
    """Say how many fields are marked; a fault of no field of the form is said in full."""
    fields = {f"{foot}-{row['name']}" for g in groups for row in g["rows"] for foot in FEET}
    fields |= {"channel", "toe_plate", "edge_colour", "bottom_colour", "method", "correction"}
    marked = sum(1 for name in form.errors if name in fields)
    if not form.errors:
        return ""
    said = [told for name, told in form.errors.items() if name not in fields]
    if marked:
        said.insert(
            0, f"Correct the {'marked field' if marked == 1 else f'{marked} marked fields'}."
        )
    return " ".join(["Nothing was filed.", *said])


def _row(name: str, label: str, kind: str = "number", **more: Any) -> dict[str, Any]:
    return {"name": name, "label": label, "kind": kind, **more}


def _condition() -> list[dict[str, Any]]:
    grades = [("", "not felt"), *((grade, grade) for grade in GRADES)]
    states = [(state, state) for state in reversed(STATES)]
    return [
        {"legend": "Thickness (mm)", "rows": [_row(f"{p}-mm", p) for p in POINTS]},
        {
            "legend": "To the thumb",
            "rows": [_row(f"{p}-grade", p, "choice", options=grades) for p in POINTS],
        },
        {
            "legend": "Parts",
            "rows": [
                _row(part, part.replace("_", " "), "choice", options=states) for part in PARTS
            ],
        },
        {"legend": "What else", "rows": [_row("note", "note", "text")]},
    ]


def _record() -> list[dict[str, Any]]:
    return [
        {
            "legend": "Sole thickness (mm)",
            "rows": [_row(f"thickness-{p}", f"at {p}") for p in POINTS],
        },
        {
            "legend": "Width of the sole (mm)",
            "rows": [_row(f"width-{p}", f"at {p.replace('_', ' ')}") for p in WIDTHS],
        },
        {
            "legend": "Edge and heel",
            "rows": [
                _row("edge_taper_mm", "edge taper (mm)"),
                _row("heel_layers_mm", "heel layers from the top (mm)", "layers"),
                _row("heel_shape", "shape of the heel block", "text"),
                _row("pitch_degrees", "pitch (degrees)"),
            ],
        },
        {
            "legend": "Layers at the edge (mm)",
            "rows": [_row(f"layers-{part}", part) for part in EDGE_LAYERS],
        },
        {
            "legend": "Seam and metal",
            "rows": [
                _row("stitches_per_inch", "stitches per inch"),
                _row("nails", "nails", "whole"),
                _row("tacks", "tacks", "whole"),
            ],
        },
    ]


def _hints(before: Mapping[str, Any] | None) -> dict[str, str]:
    """Say beside each field what was measured before stripping."""
    if before is None:
        return {}
    out: dict[str, str] = {}
    for foot in FEET:
        shoe = before[foot]
        for short in ("thickness", "width", "layers"):
            for place, value in shoe.get(f"{short}_mm", {}).items():
                out[f"{foot}-{short}-{place}"] = f"was {value:g}"
        if shoe.get("heel_shape"):
            out[f"{foot}-heel_shape"] = f"was {shoe['heel_shape']}"
        if shoe["heel_layers_mm"]:
            out[f"{foot}-heel_layers_mm"] = "was " + " ".join(
                f"{v:g}" for v in shoe["heel_layers_mm"]
            )
        for name in ("edge_taper_mm", "pitch_degrees", "stitches_per_inch", "nails", "tacks"):
            if shoe[name] is not None:
                out[f"{foot}-{name}"] = f"was {shoe[name]:g}"
    return out
