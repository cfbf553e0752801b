"""Free days page: how do pages say which days are free, and by which hours?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Protocol

import pandas as pd

from solespan.dashboards.language import ENGLISH, Language, gettext_noop
from solespan.dashboards.pages.bench.bench import work_words
from solespan.dashboards.wording import MONTHS, plural

__all__ = ["NO_HOURS", "FreeDayShown", "day_options", "free_days_words", "no_hours", "said_day"]

NO_HOURS = gettext_noop("No opening hours are set: Monday to Friday, 7 hours a day, is assumed.")


class FreeDayShown(Protocol):
    """A free day, and the day by which a pair that comes on it can be ready."""

    @property
    def day(self) -> date:
        """Return the free day."""

    @property
    def ready_by(self) -> date:
        """Return the day by which the work can be done."""


def said_day(day: date) -> str:
    """Say a day with its weekday: Tue 1 December."""
    return f"{pd.Timestamp(day).day_name()[:3]} {day.day} {MONTHS[day.month - 1]}"


def free_days_words(
    days: Sequence[FreeDayShown], *, work: str, hours_set: bool, turnaround_days: int
) -> list[str]:
    """Say the next free days of a work in one sentence, and whose hours they follow."""
    what = work_words(work)
    if days:
        told = ", ".join(said_day(one.day) for one in days)
        said = f"Free for a {what}: {told}, done within {plural(turnaround_days, 'day')}."
    else:
        said = f"No day of the coming year is free for a {what}."
    return [said] if hours_set else [said, NO_HOURS]


def day_options(
    days: Sequence[FreeDayShown], language: Language = ENGLISH
) -> list[tuple[str, str]]:
    """List free days for a choice: the day in ISO, and what a person reads."""
    return [
        (
            one.day.isoformat(),
            language.gettext(
                "%(day)s, ready by %(ready)s",
                day=language.full_date(one.day),
                ready=language.day_and_month(one.ready_by),
            ),
        )
        for one in days
    ]


def no_hours(language: Language) -> str:
    """Say to a customer which hours are assumed."""
    return language.gettext(NO_HOURS)
