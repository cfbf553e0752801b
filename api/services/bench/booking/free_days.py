"""Free days service: on which days can a pair come, and which promise can the bench keep?

Every way to book asks here: the customer's link, the desk's forms, commands and `/v1`. Counted are
opening hours, closures, work in hand, work that is booked with a day, and the minutes of the work
asked about. An order without a promised day is to be done within the shop's usual time. An order
for which nobody named a day takes no hours until it comes.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import Refused
from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.services.bench.bench_settings import bench_minutes, read_bench_settings
from solespan.api.services.shop_choices import shop_zone
from solespan.api.storage.bench.load import open_work
from solespan.forecast.bench.free_days import BenchLoad, Task, drying_days
from solespan.forecast.bench.hours import BenchHours
from solespan.forecast.bench.minutes import JobMinutes
from solespan.forecast.bench.skilled_load import benches_for
from solespan.forecast.bench.standards import AFTER_DRYING_SHARE
from solespan.forecast.bench.visits import works_of
from solespan.forecast.dates.day_words import short_day
from solespan.forecast.frames import WORKS

__all__ = [
    "DAYS",
    "BookingCalendar",
    "DayNotFree",
    "DaysOffered",
    "FreeDay",
    "FreeDaysAsked",
    "booking_calendar",
    "days_of_drying",
    "list_free_days",
    "order_minutes",
    "shop_today",
]

LONGEST_AHEAD_DAYS = 366
OFFERED_DAYS = 30
DAYS = ("expected_on", "promised_on")
_NAMED = 3  # free days that a refusal names


class DayNotFree(Refused):
    """A day that the bench cannot keep; the shop may book it with a reason."""


@dataclass(frozen=True)
class FreeDay:
    """A day on which a pair can come; by `ready_by` its work can be done."""

    day: date
    ready_by: date


@dataclass(frozen=True)
class FreeDaysAsked:
    """What is to be booked: the works, on which construction, and whether it comes by post."""

    works: tuple[str, ...]
    construction: str = "goodyear_welted"
    by_post: bool = False


@dataclass(frozen=True)
class DaysOffered:
    """Free days for a customer, done within so many days, and whether the shop set its hours."""

    days: list[FreeDay]
    turnaround_days: int
    hours_set: bool


@dataclass(frozen=True)
class BookingCalendar:
    """The bench's calendar as one day sees it.

    skills : whether each group of benches does a kind of work, shape (groups, kinds).
    hours_set : whether the shop has set its hours; without that the defaults hold.
    """

    today: date
    settings: BenchSettings
    hours_set: bool
    hours: BenchHours
    load: BenchLoad
    minutes: JobMinutes
    drying: dict[str, int]
    skills: np.ndarray

    def free_days(
        self, asked: FreeDaysAsked, first: date, most: int = LONGEST_AHEAD_DAYS
    ) -> list[FreeDay]:
        """Return the first free days from a day on."""
        minutes, drying, usual = self._minutes(asked), self._drying(asked), self.settings
        groups = _groups_of(asked.works, self.skills)
        found: list[FreeDay] = []
        begin = max((first - self.today).days, 0)
        for number in self.load.free_days(minutes, drying, usual.turnaround_days, begin, groups):
            day = self.today + timedelta(days=number)
            if asked.by_post and not self.settings.post_weekdays[day.weekday()]:
                continue
            ready = self.first_promise(asked, day)
            if ready is not None:
                found.append(FreeDay(day, ready))
            if len(found) >= most:
                break
        return found

    def first_promise(self, asked: FreeDaysAsked, arrival: date | None = None) -> date | None:
        """Return the day to promise a pair that comes on `arrival`, or None without one in a year.

        Without `arrival` the pair comes today. `check` takes the day that is returned.
        """
        first = max(((arrival or self.today) - self.today).days, 0)
        groups = _groups_of(asked.works, self.skills)
        ready = self.load.first_promise(self._minutes(asked), self._drying(asked), first, groups)
        return None if ready is None else self.today + timedelta(days=ready)

    def offer(self, asked: FreeDaysAsked, first: date, *, but: date | None = None) -> DaysOffered:
        """Return what a customer may choose from, without the day that is theirs already."""
        days = [one for one in self.free_days(asked, first, OFFERED_DAYS) if one.day != but]
        return DaysOffered(days, self.settings.turnaround_days, self.hours_set)

    def check(
        self,
        asked: FreeDaysAsked,
        expected: date | None,
        promised: date | None,
        new: Collection[str] = DAYS,
    ) -> None:
        """Raise `DayNotFree` where a day is closed or cannot be kept.

        `new` names the days that are chosen now; the others are only counted.
        """
        for where, day in zip(DAYS, (expected, promised), strict=True):
            if day is not None and where in new and self._open_minutes(day) <= 0:
                raise self._not_free(asked, where, f"The shop is closed on {short_day(day)}.")
        posted = expected if asked.by_post and "expected_on" in new else None
        if posted is not None and not self.settings.post_weekdays[posted.weekday()]:
            what = f"No parcel comes on {short_day(posted)}."
            raise self._not_free(asked, "expected_on", what)
        task = self._task(asked, expected, promised)
        if task is None or task.last_day >= self.load.days or self.load.fits(task):
            return
        minutes = f"{task.minutes:.0f} minutes"
        if promised is None and expected is not None:
            what = (
                f"{short_day(expected)} is full: {minutes} more cannot be done within "
                f"{self.settings.turnaround_days} days."
            )
            raise self._not_free(asked, "expected_on", what)
        if promised is not None and not task.possible:
            what = f"The work cannot be done and dry by {short_day(promised)}."
        elif promised is not None:
            what = f"The bench is full until {short_day(promised)}: {minutes} more do not fit."
        raise self._not_free(asked, "promised_on", what, task)

    def _task(
        self, asked: FreeDaysAsked, expected: date | None, promised: date | None
    ) -> Task | None:
        if expected is None and promised is None:
            return None
        first = 0 if expected is None else max((expected - self.today).days, 0)
        if promised is None:
            last = first + self.settings.turnaround_days
        else:
            last = (promised - self.today).days
        groups = _groups_of(asked.works, self.skills)
        return Task(self._minutes(asked), first, last, self._drying(asked), groups)

    def _minutes(self, asked: FreeDaysAsked) -> float:
        return self.minutes.mean_visit(asked.works, asked.construction)

    def _drying(self, asked: FreeDaysAsked) -> int:
        return max(self.drying[work] for work in asked.works)

    def _open_minutes(self, day: date) -> float:
        return float(self.hours.minutes_by_day(pd.Timestamp(day), 1)[0])

    def _not_free(
        self, asked: FreeDaysAsked, where: str, what: str, task: Task | None = None
    ) -> DayNotFree:
        if where == "promised_on":
            arrival = self.today + timedelta(days=max(task.first_day if task else 0, 0))
            ready = self.first_promise(asked, arrival)
            days = [] if ready is None else [ready]
            accepted = f"{days[0]} or later" if days else "a day that is free"
        else:
            days = [free.day for free in self.free_days(asked, self.today, _NAMED)]
            accepted = ", ".join(str(day) for day in days) or "a day that is free"
        named = " or ".join(short_day(day) for day in days)
        choose = f"Choose {named}" if named else "Choose another day"
        return DayNotFree(
            what,
            where=where,
            accepted=accepted,
            remedy=f"{choose}, or give the reason to book it anyway.",
        )


def shop_today(session: Session, clock: Clock, time_zone: str = "UTC") -> date:
    """Return the shop's day; `time_zone` is the customer's, for a shop that has chosen none."""
    return clock.today(shop_zone(session, time_zone))


def booking_calendar(
    session: Session, today: date, *, without: int | None = None, hold: bool = False
) -> BookingCalendar:
    """Read the bench's calendar.

    Parameters
    ----------
    without : int, optional
        Number of an order that is being changed.
    hold : bool
        Whether a day is taken next: two who book at once then take the last place once.
    """
    settings, version = read_bench_settings(session)
    hours = settings.bench_hours()
    minutes = bench_minutes(session)
    drying = days_of_drying(settings)
    places = settings.bench_rules().places(hours.benches)
    skills, benches = np.unique(places.skills, axis=0, return_counts=True)
    tasks = [
        task
        for order in open_work(session, hold=hold)
        if order["id"] != without
        and (task := _task_of(order, today, settings, minutes, drying, skills)) is not None
    ]
    days = LONGEST_AHEAD_DAYS + settings.turnaround_days + 1
    by_group = np.outer(benches, hours.minutes_by_day(pd.Timestamp(today), days))
    load = BenchLoad(by_group.sum(axis=0), tasks, by_group if len(benches) > 1 else None)
    return BookingCalendar(today, settings, version > 0, hours, load, minutes, drying, skills)


def days_of_drying(settings: BenchSettings) -> dict[str, int]:
    """Return the days that each work dries."""
    hours = zip(WORKS, settings.bench_rules().drying(), strict=True)
    return {work: drying_days(dry) for work, dry in hours}


def _task_of(
    order: Mapping[str, Any],
    today: date,
    settings: BenchSettings,
    minutes: JobMinutes,
    drying: Mapping[str, int],
    skills: np.ndarray,
) -> Task | None:
    """Say what an open order asks of the bench; None while nobody named a day."""
    here = order["stage"] in ("received", "on_bench")
    expected, promised = order["expected_on"], order["promised_on"]
    if not here and expected is None and promised is None:
        return None
    begins = max(today, today if here or expected is None else expected)
    usual = (expected or order["booked_on"]) + timedelta(days=settings.turnaround_days)
    ends = promised or usual
    work, dries = order_minutes(order, minutes, drying)
    groups = _groups_of(works_of(order["work"], order["more_works"]), skills)
    return Task(work, (begins - today).days, (ends - today).days, dries, groups)


def _groups_of(works: Sequence[str], skills: np.ndarray) -> tuple[int, ...]:
    """Return the groups of benches that do these works; empty where all benches are alike."""
    if len(skills) == 1:
        return ()
    return benches_for([WORKS.index(work) for work in works], skills)


def order_minutes(
    order: Mapping[str, Any], minutes: JobMinutes, drying: Mapping[str, int]
) -> tuple[float, int]:
    """Return the minutes that an open order still asks of the bench, and the days that it dries.

    Work on the bench that dries has only its last step to come.
    """
    works = works_of(order["work"], order["more_works"])
    whole = minutes.mean_visit(works, order["construction"])
    dries = max(drying[work] for work in works)
    if order["stage"] != "on_bench":
        return whole, dries
    return (whole * AFTER_DRYING_SHARE if dries else whole), 0


def list_free_days(
    session: Session, asked: FreeDaysAsked, clock: Clock, *, most: int = 20
) -> dict[str, Any]:
    """Say the next free days of a work, as JSON values."""
    today = shop_today(session, clock)
    calendar = booking_calendar(session, today)
    days = calendar.free_days(asked, today, most)
    return {
        "work": asked.works[0],
        "construction": asked.construction,
        "by_post": asked.by_post,
        "today": today.isoformat(),
        "hours_set": calendar.hours_set,
        "turnaround_days": calendar.settings.turnaround_days,
        "days": [{"day": d.day.isoformat(), "ready_by": d.ready_by.isoformat()} for d in days],
    }
