"""Booking page: what does a customer read of a booked day, and to which days may it move?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.dashboards.pages.bench.bench import work_words
from solespan.dashboards.pages.bench.free_days import OfferShown, offered_words, said_day

__all__ = ["booking_page"]

_DONE = {"moved": "The day is moved.", "cancelled": "The booking is cancelled."}
_OVER = {
    "cancelled": "This booking is cancelled.",
    "missed": "This booking is closed: the pair did not come.",
    "returned": "This pair is back with you.",
}


def booking_page(
    order: Mapping[str, Any],
    pair: Mapping[str, Any],
    offered: OfferShown | None,
    *,
    done: str,
) -> dict[str, Any]:
    """Say what is booked, and offer what may change.

    Parameters
    ----------
    order, pair : mapping
        The rows of both.
    offered : OfferShown or None
        The days to which it may move; None = it may not.
    done : str
        `moved` or `cancelled` where that happened just now.
    """
    waits = order["stage"] in ("booked", "in_post")
    day = order["expected_on"]
    if not waits:
        lead = _OVER.get(order["stage"], "This pair is with us. There is nothing more to do.")
    else:
        verb = "post" if order["by_post"] else "bring"
        when = f" on {said_day(day)} {day.year}" if day else ""
        lead = f"A {work_words(order['work'])}. Please {verb} it{when}."
        if order["promised_on"]:
            lead += f" It is promised for {said_day(order['promised_on'])}."
    said = _DONE.get(done, "") if done != "cancelled" or order["stage"] == "cancelled" else ""
    return {
        "heading": f"Your booking: {pair['label'] or pair['pair_id']}",
        "lead": "" if said == _DONE["cancelled"] else lead,
        "done": said,
        "problem": "",
        "open": waits,
    } | offered_words(offered)
