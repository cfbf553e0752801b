"""Words about a pair: what was felt at its sole, what does a new one cost, how long is it away?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from solespan.dashboards.language import Language, gettext_noop

__all__ = ["felt_words", "nobody", "price_words", "wait_words"]

_SHOES = {"left": gettext_noop("left shoe"), "right": gettext_noop("right shoe")}
_FELT = {
    "firm": gettext_noop("Felt on %(day)s, %(shoe)s: the sole does not move under the thumb."),
    "give": gettext_noop("Felt on %(day)s, %(shoe)s: the sole moves a little under the thumb."),
    "soft": gettext_noop("Felt on %(day)s, %(shoe)s: the sole flexes easily under the thumb."),
    "hole": gettext_noop("Seen on %(day)s, %(shoe)s: the sole has a hole."),
}


def felt_words(look: Mapping[str, Any] | None, today: date, language: Language) -> str:
    """Say what the last look at the ball found: `foot`, `grade`, `value_mm`, `checked_on`."""
    say = language.gettext
    if look is None:
        return say("Nobody has looked at this sole yet. A thumb check takes a minute.")
    day = look["checked_on"]
    same = day.year == today.year
    said = language.day_and_month(day) if same else language.long_date(day)
    shoe = say(_SHOES[look["foot"]])
    if look["grade"] is not None:
        return say(_FELT[look["grade"]], day=said, shoe=shoe)
    thickness = language.number(look["value_mm"], 1)
    return say(
        "Measured on %(day)s, %(shoe)s: %(mm)s mm of sole.", day=said, shoe=shoe, mm=thickness
    )


def price_words(price_minor: int | None, currency: str, language: Language) -> str:
    """Say what a full sole costs; empty where the shop has set no price."""
    if price_minor is None:
        return ""
    return language.gettext(
        "A full sole costs %(price)s. A price stands only after we have seen the pair.",
        price=language.money(price_minor, currency),
    )


def wait_words(days: int | None, language: Language) -> str:
    """Say how long a pair is away; empty without a plan of the bench."""
    if days is None:
        return ""
    return language.ngettext(
        "Nine pairs in ten are back within %(num)s day.",
        "Nine pairs in ten are back within %(num)s days.",
        days,
    )


def nobody(language: Language) -> str:
    """Say whom a notice greets that knows no name."""
    return language.gettext("there")
