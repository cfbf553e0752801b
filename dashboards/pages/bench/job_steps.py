"""Job steps page.

Which steps can an order take next, what does each form ask, and what is in the way?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solespan.dashboards import wording
from solespan.dashboards.pages.bench.bench import work_words
from solespan.dashboards.pages.rack.pair import FormState
from solespan.forecast.bench.shoe_record import Mismatch
from solespan.forecast.frames import MATERIALS

__all__ = ["CHANNELS", "job_steps", "unsaved"]

CHANNELS = ("closed", "open", "none")
_BUTTONS = {
    ("booked", "received"): "The pair is here",
    ("booked", "in_post"): "It is in the post",
    ("booked", "missed"): "It did not come",
    ("booked", "cancelled"): "Cancel the order",
    ("in_post", "received"): "The parcel is here",
    ("in_post", "cancelled"): "Cancel the order",
    ("received", "on_bench"): "Put it on the bench",
    ("received", "returned"): "Give it back undone",
    ("booked", "refused"): "Refuse the work",
    ("received", "sent_on"): "Send it on to a maker",
    ("received", "refused"): "Refuse the work",
    ("on_bench", "checked"): "Call it checked",
    ("on_bench", "sent_on"): "Send it on to a maker",
    ("on_bench", "refused"): "Refuse the work",
    ("sent_on", "checked"): "It is back and checked",
    ("sent_on", "received"): "It is back, with work left",
    ("checked", "posted_back"): "It is posted back",
    ("checked", "returned"): "It is collected",
    ("posted_back", "returned"): "It has arrived",
}
_ASIDE = {("booked", "missed"), ("booked", "cancelled"), ("in_post", "cancelled")} | {
    ("booked", "refused"),
    ("received", "returned"),
    ("received", "sent_on"),
    ("received", "refused"),
    ("on_bench", "sent_on"),
    ("on_bench", "refused"),
}
_NOT_SAVED = {
    "on": "day",
    "worker": "who",
    "parcel_number": "parcel number",
    "bench_minutes": "minutes",
    "material": "fitted",
    "cover": "covers",
    "channel": "channel",
    "limit_mm": "limit (mm)",
    "sent_to": "maker",
    "back_on": "back on",
    "note": "note",
}


def job_steps(
    order: Mapping[str, Any],
    steps: Sequence[str],
    *,
    of_sole: bool,
    material: str,
    out: Sequence[Mismatch],
    forms: Mapping[str, FormState],
) -> dict[str, Any]:
    """Gather the forms of an order's next steps.

    Parameters
    ----------
    steps : sequence of str
        Stages that the order may go to.
    of_sole : bool
        The work fits a new sole.
    material : str
        Of the sole on the pair now; offered first.
    out : sequence of Mismatch
        Measures of the finished pair that are out; each needs a reason.
    forms : mapping
        What was typed and is wrong, by step.
    """
    papers = order["papers"]
    told = []
    for to in steps:
        given = forms.get(to, FormState())
        told.append(
            {
                "to": to,
                "button": _BUTTONS[order["stage"], to],
                "aside": (order["stage"], to) in _ASIDE,
                "form": given,
                "in_way": _in_way(to, papers, of_sole=of_sole),
            }
        )
    channel = (papers.get("before") or {}).get("channel") or ""
    return {
        "steps": [step for step in told if not step["aside"]],
        "aside": [step for step in told if step["aside"]],
        "of_sole": of_sole,
        "material_options": [(word, wording.spaced(word)) for word in MATERIALS],
        "channel_options": CHANNELS,
        "first": {
            "material": material,
            "cover": "half" if order["work"] == "half_sole" else "full",
            "channel": channel,
            "worker": order["worker"] or "",
        },
        "out": [_mismatch(one) for one in out],
        "reasons": list(dict.fromkeys(one.measure for one in out)),
    }


def _in_way(to: str, papers: Mapping[str, Any], *, of_sole: bool) -> str:
    """Name the paper that has to be filed before this step, or nothing."""
    if to == "on_bench" and of_sole and "before" not in papers:
        return "before"
    if to == "checked" and "after" not in papers and (of_sole or "before" in papers):
        return "after"
    return ""


def _mismatch(one: Mismatch) -> dict[str, str]:
    return {
        "measure": one.measure,
        "compared": one.compared,
        "wanted": _value(one.wanted),
        "found": _value(one.found),
        "allowed": f"{one.allowed:g}",
    }


def _value(value: float | str | None) -> str:
    if value is None:
        return "not given"
    return value if isinstance(value, str) else f"{value:g}"


def unsaved(typed: Mapping[str, str], reason_prefix: str) -> list[tuple[str, str]]:
    """List what was typed into a step that someone else had taken, so that nothing is lost."""
    rows = [(word, typed[name]) for name, word in _NOT_SAVED.items() if typed.get(name, "").strip()]
    rows += [
        (f"reason for {name.removeprefix(reason_prefix)}", text)
        for name, text in typed.items()
        if name.startswith(reason_prefix) and text.strip()
    ]
    return [(word, work_words(text) if word == "fitted" else text) for word, text in rows]
