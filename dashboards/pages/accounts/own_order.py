"""Own order: how does a customer read where a pair is, when it is ready, and what it costs?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from solespan.dashboards.language import Language, gettext_noop
from solespan.dashboards.pages.notices.outside import way_choices
from solespan.dashboards.pages.notices.work_words import works_words
from solespan.forecast.bench.visits import works_of

__all__ = ["order_words"]

_SAID = {
    "booked": gettext_noop("We expect your pair"),
    "in_post": gettext_noop("Your pair is on its way to us"),
    "received": gettext_noop("Your pair is with us"),
    "on_bench": gettext_noop("Your pair is on the bench"),
    "checked": gettext_noop("Your pair is ready"),
    "posted_back": gettext_noop("Your pair is on its way back to you"),
}
_TRACK = (
    (gettext_noop("With us"), "received"),
    (gettext_noop("On the bench"), "on_bench"),
    (gettext_noop("Ready"), "checked"),
)
_ORDER = tuple(_SAID)


def order_words(order: Mapping[str, Any], today: date, language: Language) -> dict[str, Any]:
    """Say an open order: its stage, the day it is expected or promised, its price, and the ways.

    `order` has `stage`, `work`, `more_works`, `expected_on`, `promised_on`, `price_minor`,
    `currency`, `steps`, `change` (an address) and `quote` (None = nothing can be agreed to now).
    """
    say = language.gettext
    at = _ORDER.index(order["stage"])
    agreed = next((works for _, _, works in reversed(order["steps"]) if works), None)
    ways = way_choices(order["quote"], language)[1:] if order["quote"] else []
    return {
        "order_id": order["order_id"],
        "version": order["version"],
        "said": say(_SAID[order["stage"]]),
        "track": [
            {"word": say(word), "done": at >= _ORDER.index(stage), "here": order["stage"] == stage}
            for word, stage in _TRACK
        ],
        "expected": _day(order["expected_on"], today, language) if at < 2 else "",
        "ready": _day(order["promised_on"], today, language) if at < 4 else "",
        "works": works_words(works_of(order["work"], order["more_works"]), language),
        "agreed": agreed is not None,
        "price": _price(order, language),
        "ways": ways,
        "change": order["change"],
    }


def _day(day: date | None, today: date, language: Language) -> str:
    return "" if day is None else language.near_date(day, today)


def _price(order: Mapping[str, Any], language: Language) -> str:
    if order["price_minor"] is None:
        return ""
    return language.money(order["price_minor"], order["currency"])
