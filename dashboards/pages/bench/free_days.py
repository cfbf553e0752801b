"""Free days page: how do pages say which days are free, and by which hours?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Protocol

from solespan.dashboards.language import ENGLISH, Language, gettext_noop
from solespan.dashboards.pages.bench.bench import work_words
from solespan.dashboards.wording import plural
from solespan.forecast.dates.day_words import short_day

__all__ = [
    "NO_HOURS",
    "FreeDayShown",
    "OfferShown",
    "day_options",
    "free_days_words",
    "offered_words",
]

NO_HOURS = gettext_noop(
    "No opening hours are set. Assumed are Monday to Friday, 7 hours a day, closed on 25 December "
    "and 1 January."
)


class FreeDayShown(Protocol):
    """A free day."""

    @property
    def day(self) -> date:
        """Return the day."""


class OfferShown(Protocol):
    """Free days for a customer, with the days that the work takes at most."""

    @property
    def days(self) -> Sequence[FreeDayShown]:
        """Return the days."""

    @property
    def turnaround_days(self) -> int:
        """Return within how many days the work is done."""

    @property
    def hours_set(self) -> bool:
        """Return whether the shop has set its hours."""


def free_days_words(
    days: Sequence[FreeDayShown], today: date, *, work: str, hours_set: bool, turnaround_days: int
) -> list[str]:
    """Say the next free days of a work in one sentence, and whose hours they follow."""
    what = work_words(work)
    if days:
        told = ", ".join(short_day(one.day, today) for one in days)
        said = f"Free for a {what}: {told}, done within {plural(turnaround_days, 'day')}."
    else:
        said = f"No day of the coming year is free for a {what}."
    return [said] if hours_set else [said, NO_HOURS]


def day_options(
    days: Sequence[FreeDayShown], language: Language = ENGLISH
) -> list[tuple[str, str]]:
    """List free days for a choice: the day in ISO, and what a person reads."""
    return [(one.day.isoformat(), language.full_date(one.day)) for one in days]


def offered_words(offered: OfferShown | None, language: Language = ENGLISH) -> dict[str, Any]:
    """Say what a customer may choose from, and by when the work is done."""
    if offered is None:
        return {"days": [], "done_within": "", "no_hours": ""}
    return {
        "days": day_options(offered.days, language),
        "done_within": language.ngettext(
            "The work is done within %(num)s day of that day.",
            "The work is done within %(num)s days of that day.",
            offered.turnaround_days,
        ),
        "no_hours": "" if offered.hours_set else language.gettext(NO_HOURS),
    }
