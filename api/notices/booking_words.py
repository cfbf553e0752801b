"""Booking words: what does a mail about a booked day say, in the customer's language?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from solespan.api.notices.languages import Language
from solespan.dashboards.pages.notices.work_words import works_words

__all__ = ["booking_words"]


def booking_words(
    kind: str, told: Mapping[str, Any], on: date, language: Language
) -> tuple[str, str]:
    """Return the subject and the sentence of a message.

    Parameters
    ----------
    kind : str
        `request`, `cancel` or `reminder`.
    told : mapping
        `pair`, `works`, and whether it comes `by_post`.
    on : date
        The booked day.
    """
    say, day, pair = language.gettext, language.full_date(on), told["pair"]
    if kind == "cancel":
        subject = say("Cancelled: %(pair)s, %(day)s", pair=pair, day=day)
        return subject, say(
            "The booking of your pair %(pair)s for %(day)s is cancelled.", pair=pair, day=day
        )
    works = works_words(told["works"], language)
    come = say("Please post it on %(day)s.", day=day)
    if not told["by_post"]:
        come = say("Please bring it on %(day)s.", day=day)
    if kind == "reminder":
        subject = say("Tomorrow: %(pair)s", pair=pair)
        lead = say("Your pair %(pair)s comes tomorrow. Work: %(works)s.", pair=pair, works=works)
    else:
        subject = say("Booked: %(pair)s, %(day)s", pair=pair, day=day)
        lead = say("Your pair %(pair)s is booked in. Work: %(works)s.", pair=pair, works=works)
    return subject, f"{lead} {come}"
