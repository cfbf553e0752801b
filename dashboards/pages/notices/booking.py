"""Booking page: what does a customer read of a booked day, and to which days may it move?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.dashboards.language import ENGLISH, Language, gettext_noop
from solespan.dashboards.pages.bench.free_days import OfferShown, offered_words
from solespan.dashboards.pages.notices.work_words import works_words
from solespan.forecast.bench.visits import works_of

__all__ = ["booking_page"]

_DONE = {
    "moved": gettext_noop("The day is moved."),
    "cancelled": gettext_noop("The booking is cancelled."),
}
_OVER = {
    "cancelled": gettext_noop("This booking is cancelled."),
    "missed": gettext_noop("This booking is closed: the pair did not come."),
    "returned": gettext_noop("This pair is back with you."),
}


def booking_page(
    order: Mapping[str, Any],
    pair: Mapping[str, Any],
    offered: OfferShown | None,
    *,
    done: str,
    language: Language = ENGLISH,
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
    say = language.gettext
    waits = order["stage"] in ("booked", "in_post")
    if waits:
        lead = _ahead(order, language)
    else:
        here = gettext_noop("This pair is with us. There is nothing more to do.")
        lead = say(_OVER.get(order["stage"], here))
    moved = done != "cancelled" or order["stage"] == "cancelled"
    return {
        "heading": f"{say('Your booking')}: {pair['label'] or pair['pair_id']}",
        "lead": "" if done == "cancelled" and moved else lead,
        "done": say(_DONE.get(done, "")) if moved else "",
        "problem": "",
        "open": waits,
        "language": language,
    } | offered_words(offered, language)


def _ahead(order: Mapping[str, Any], language: Language) -> str:
    """Say what will be done, how the pair comes and when it is promised."""
    say, day = language.gettext, order["expected_on"]
    told = [f"{works_words(works_of(order['work'], order['more_works']), language)}."]
    if day is not None:
        when = language.full_date(day)
        told.append(
            say("Please post it on %(day)s.", day=when)
            if order["by_post"]
            else say("Please bring it on %(day)s.", day=when)
        )
    if order["promised_on"]:
        told.append(
            say("It is promised for %(day)s.", day=language.full_date(order["promised_on"]))
        )
    return " ".join(told)
