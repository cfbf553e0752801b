"""Outside page: what do the pages say that a customer opens from a notice?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd

from solespan.dashboards.pages.bench.quote import way_words
from solespan.dashboards.wording import long_date

__all__ = ["answer_page", "link_failure_page", "unsubscribe_page", "way_choices"]

GRADE_WORDS = [
    ("firm", "firm", "does not move"),
    ("give", "give", "moves a little"),
    ("soft", "soft", "flexes easily"),
    ("hole", "hole", "worn through"),
]
_ASK = {
    "book": ("Book it in", "{what} is due {when}. Please bring or post it {bring_by}."),
    "check": ("The thumb check", "No gauge and no photograph are needed, only a minute."),
    "elsewhere": ("It was done elsewhere", "Then this pair needs nothing from us now."),
    "decline": ("Not this time", "We will not write about this sole again."),
}
_DONE = {
    "elsewhere": "Thank you. We will not write about the old sole again. "
    "The new one is taken for the same material until we measure it.",
    "declined": "Thank you for telling us. We will not write about this sole again.",
}


def answer_page(
    purpose: str,
    told: dict[str, Any],
    *,
    answered: str | None,
    done: bool,
    order: Mapping[str, Any] | None,
    dates: Mapping[str, Any] | None,
) -> dict[str, Any]:
    """Say what a link is for, about which pair, and what has been answered.

    Parameters
    ----------
    told : dict
        `label`, `when` and `bring_by` as the notice said them.
    answered : str or None
        The answer given so far.
    done : bool
        Whether it was given just now.
    order : mapping or None
        The open order of the pair: `expected_on`, `by_post`, and whether it is `received`.
    dates : mapping or None
        `when`, `sure`, `bring_by` and `stop_wearing` as they are now; None while there are none.
    """
    heading, lead = _ASK[purpose]
    over = purpose == "book" and order is not None
    said = _DONE.get(answered or "", "") if done else ""
    if over and order is not None:
        said = _booked(order, done=done)
    elif done and answered == "checked":
        said = _checked(dates, _what(told), ask=order is None)
    return {
        "heading": f"{heading}: {told['label']}",
        "lead": ""
        if over
        else lead.format(what=_what(told), when=told["when"], bring_by=told["bring_by"]),
        "done": said,
        "what": told.get("what") or "a new sole",
        "shows_form": not (over or (done and purpose != "check")),
        "grades": GRADE_WORDS,
        "purpose": purpose,
        "problem": "",
    }


def _booked(order: Mapping[str, Any], *, done: bool) -> str:
    if order["stage"] == "refused":
        return f"We looked at this pair and do not take the work: {order['reason']}"
    if order["stage"] == "sent_on":
        back = "" if order["back_on"] is None else f" We expect it back {_on(order['back_on'])}."
        return f"This pair is with its maker for us; there is nothing more to do.{back}"
    if order["stage"] not in ("booked", "in_post"):
        return "This pair is with us already; there is nothing more to do."
    how = "you post it" if order["by_post"] else "you bring it"
    on = f" {_on(order['expected_on'])}" if order["expected_on"] else ""
    said = "Thank you. It is booked in" if done else "This pair is booked in already"
    return f"{said}: {how}{on}. To change that, please get in touch."


def _what(told: Mapping[str, Any]) -> str:
    """Say what is due; a notice from before told of soles only."""
    what = str(told.get("what") or "a new sole")
    return f"{what[0].upper()}{what[1:]}"


def _on(day: date) -> str:
    return f"on {long_date(pd.Timestamp(day))}"


def _checked(dates: Mapping[str, Any] | None, what: str, *, ask: bool) -> str:
    if dates is None:
        return "Thank you. The dates will be calculated again."
    sure = f" ({dates['sure']})" if dates["sure"] else ""
    stop = "Please stop wearing this pair. " if dates["stop_wearing"] else ""
    come = f" Please bring or post it {dates['bring_by']}." if ask else ""
    return (
        f"Thank you. The dates have been calculated again. {stop}"
        f"{what} is due {dates['when']}{sure}.{come}"
    )


def unsubscribe_page(*, done: bool) -> dict[str, Any]:
    """Say what the button does, or that it is done."""
    return {
        "heading": "Stop these notices",
        "lead": "You will get no more notices from us."
        if done
        else "Press the button to stop all notices from us.",
        "done": "That is done." if done else "",
        "shows_form": not done,
        "purpose": "unsubscribe",
        "grades": GRADE_WORDS,
        "problem": "",
    }


def way_choices(quoted: Mapping[str, Any] | None) -> list[tuple[str, str, str]]:
    """List the ways that a customer may choose from, each with its price and what it buys."""
    if quoted is None or not quoted["alternatives"]:
        return []
    ways = [way_words(way, quoted["currency"]) for way in quoted["alternatives"]]
    told = [
        (way["works"], f"{way['said']}, {way['price']}", f"wear days bought: {way['days']}")
        for way in ways
    ]
    return [("", "You decide", "after a look at the pair"), *told]


def link_failure_page(title: str, lines: list[str]) -> dict[str, Any]:
    """Say why a link leads nowhere."""
    return {
        "heading": title,
        "lead": " ".join(line for line in lines if line),
        "done": "",
        "shows_form": False,
        "purpose": "",
        "grades": GRADE_WORDS,
        "problem": "",
    }
