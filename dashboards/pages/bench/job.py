"""Job page: what do one job's page, its card and its packing list say?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.dashboards import wording
from solespan.dashboards.cautions import cautions_of
from solespan.dashboards.pages.bench.bench import STAGE_WORDS, order_works
from solespan.dashboards.pages.bench.desk import assumed_words, price_words
from solespan.forecast.bench.findings import PARTS
from solespan.forecast.bench.shoe_record import EDGE_LAYERS
from solespan.forecast.bench.visits import works_of
from solespan.forecast.frames import FEET, POINTS

__all__ = ["job_page"]

_WIDTHS = ("ball", "waist", "heel_seat")
_SINGLE = (
    ("edge_taper_mm", "edge taper", "mm"),
    ("pitch_degrees", "pitch", "degrees"),
    ("stitches_per_inch", "stitches", "per inch"),
    ("nails", "nails", ""),
    ("tacks", "tacks", ""),
)
PAPER_WORDS = {
    "condition": "condition report",
    "before": "record before stripping",
    "after": "measures of the finished pair",
}


def job_page(
    order: Mapping[str, Any],
    pair: Mapping[str, Any],
    owner: Mapping[str, Any],
    minutes: tuple[float, float],
    sole: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Gather a job's page and card.

    Parameters
    ----------
    order : mapping
        The order with `events`, `papers` and `photos`.
    pair : mapping
        The pair's row.
    owner : mapping
        The wearer's row.
    minutes : (float, float)
        Between which the hands-on time should fall, four times in five.
    sole : mapping, optional
        The sole on the pair.
    """
    papers = order["papers"]
    works = works_of(order["work"], order["more_works"])
    return {
        "order": order,
        "work": order_works(order),
        "stage": STAGE_WORDS[order["stage"]],
        "pair": pair["label"] or pair["pair_id"],
        "construction": pair["construction"].replace("_", " "),
        "size": f"{pair['size_eu']:g}" if pair["size_eu"] else "",
        "owner": owner["name"] or owner["phone"] or owner["wearer_id"],
        "phone": owner["phone"] or "",
        "price": price_words(order),
        "assumed": assumed_words(order, pair, sole),
        "minutes": f"{minutes[0]:.0f} to {minutes[1]:.0f}",
        "condition": _condition(papers.get("condition")),
        "records": _records(papers.get("before"), papers.get("after")),
        "colours": _colours(papers),
        "can_redo": order["stage"] == "returned",
        "events": [_event(e) for e in order["events"]],
        "cautions": list(dict.fromkeys(c for work in works for c in cautions_of(work))),
    }


def _condition(paper: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if paper is None:
        return None
    readings = []
    for reading in paper["readings"]:
        told = []
        if reading["value_mm"] is not None:
            told.append(f"{reading['value_mm']:g} mm ({reading['method'].replace('_', ' ')})")
        if reading["grade"] is not None:
            told.append(f"{reading['grade']} to the thumb")
        where = f"{reading['foot']} {reading['point']}"
        readings.append({"where": where, "found": ", ".join(told)})
    parts = [
        {
            "part": part.replace("_", " "),
            **{foot: paper[foot].get(part, "not seen") for foot in FEET},
        }
        for part in PARTS
    ]
    notes = [f"{foot}: {paper[foot]['note']}" for foot in FEET if paper[foot]["note"]]
    return {"readings": readings, "parts": parts, "notes": notes}


def _records(
    before: Mapping[str, Any] | None, after: Mapping[str, Any] | None
) -> list[dict[str, str]]:
    """List measures as rows: name, unit, and left and right before and after."""
    rows = []
    papers = {"before": before, "after": after}

    def add(name: str, unit: str, get: Any) -> None:
        row = {"name": name, "unit": unit}
        for when, paper in papers.items():
            for foot in FEET:
                value = None if paper is None else get(paper[foot])
                row[f"{when}_{foot}"] = "" if value is None else f"{value:g}"
        if any(row[f"{when}_{foot}"] for when in papers for foot in FEET):
            rows.append(row)

    for point in POINTS:
        add(f"thickness at {point}", "mm", lambda f, p=point: f["thickness_mm"].get(p))
    for place in _WIDTHS:
        add(f"width at {place.replace('_', ' ')}", "mm", lambda f, p=place: f["width_mm"].get(p))
    layers = max(
        (len(paper[foot]["heel_layers_mm"]) for paper in papers.values() if paper for foot in FEET),
        default=0,
    )
    for i in range(layers):
        add(
            f"heel layer {i + 1}",
            "mm",
            lambda f, k=i: f["heel_layers_mm"][k] if k < len(f["heel_layers_mm"]) else None,
        )
    for part in EDGE_LAYERS:
        add(f"{part} thickness", "mm", lambda f, p=part: f.get("layers_mm", {}).get(p))
    for field, name, unit in _SINGLE:
        add(name, unit, lambda f, n=field: f[n])
    return rows


def _colours(papers: Mapping[str, Mapping[str, Any]]) -> list[str]:
    paper = papers.get("before") or {}
    shapes = {foot: paper.get(foot, {}).get("heel_shape") for foot in FEET}
    told = [f"{foot} heel {shape}" for foot, shape in shapes.items() if shape]
    if paper.get("channel"):
        told.append(f"channel {paper['channel']}")
    if paper.get("toe_plate") is not None:
        told.append("toe plate" if paper["toe_plate"] else "no toe plate")
    for field, name in (("edge_colour", "edge"), ("bottom_colour", "bottom")):
        if paper.get(field):
            told.append(f"{name} {paper[field]}")
    return told


def _event(event: Mapping[str, Any]) -> dict[str, str]:
    details = event["details"]
    said = STAGE_WORDS[event["to_stage"]]
    if "paper" in details:
        said = f"{PAPER_WORDS[details['paper']]} {'replaced' if 'replaced' in details else 'filed'}"
    if "agreed" in details:
        said = f"agreed: {', '.join(wording.spaced(work) for work in details['agreed'])}"
    if "assumed" in details:
        said = "taken in, its construction and sole assumed"
    if "photograph" in details:
        said = f"photograph {details['photograph']}"
    if "moved" in details:
        said = "; ".join(_moved(name, days) for name, days in details["moved"].items())
    accepted = [f"{m['measure']}: {m['reason']}" for m in details.get("accepted", ())]
    at = str(event["at"])
    if details.get("on") not in (None, at[:10]):
        said += f" (happened {details['on']})"
    stock = [
        f"{wording.spaced(taken['use'])} not taken from the stock book: {taken['not_taken']}"
        for taken in details.get("stock", ())
        if "not_taken" in taken
    ]
    if "sent_to" in details:
        said = f"sent on to {details['sent_to']}"
        if "back_on" in details:
            said += f", back {details['back_on']}"
    words = [details.get(name) for name in ("note", "caption", "correction")]
    if "overruled" in details:
        words.append(f"{details['because']} Booked anyway: {details['overruled']}")
    told = [*filter(None, words), *accepted, *stock]
    return {
        "at": at[:16].replace("T", " "),
        "said": said,
        "worker": event["worker"] or "",
        "note": "; ".join(told),
    }


def _moved(name: str, days: list[str | None]) -> str:
    what = {"expected_on": "day it should come", "promised_on": "day promised"}[name]
    before, after = (day or "none" for day in days)
    return f"{what}: {before} to {after}"
