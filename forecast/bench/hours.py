"""Opening hours: when is the bench open, and on which day has it worked so many minutes?

The bench's own clock runs only in its hours. `BenchClock` turns hours of the calendar into minutes
of bench time and back. So holidays, leave and short weeks need no care in the queue, and what dries
dries at night and over closed days too.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from solespan.forecast.errors import BadHorizon

__all__ = ["BenchClock", "BenchHours", "Closure"]

_DAY_HOURS = 24.0


@dataclass(frozen=True)
class Closure:
    """Days on which the bench is open for less: a holiday or leave, both days included."""

    first_on: pd.Timestamp
    last_on: pd.Timestamp
    hours_per_day: float = 0.0


@dataclass(frozen=True)
class BenchHours:
    """Hours of one bench by weekday, Monday first, and its closures.

    hours_by_weekday : seven numbers, hands-on hours on each day.
    benches : how many benches work side by side.
    opens_at_hour : when a day begins; a day too long for that begins earlier.
    closed_every_year : months and days on which it is closed in every year.
    """

    hours_by_weekday: tuple[float, ...] = (7.0, 7.0, 7.0, 7.0, 7.0, 0.0, 0.0)
    closures: tuple[Closure, ...] = field(default=())
    benches: int = 1
    opens_at_hour: float = 9.0
    closed_every_year: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        if len(self.hours_by_weekday) != 7 or not all(0 <= h <= 24 for h in self.hours_by_weekday):
            raise BadHorizon("hours_by_weekday: seven numbers from 0 to 24 are accepted")
        if sum(self.hours_by_weekday) <= 0:
            raise BadHorizon("hours_by_weekday: the bench must be open at some time in the week")
        if not 1 <= self.benches <= 50:
            raise BadHorizon(f"benches: {self.benches} is not between 1 and 50")
        if not 0 <= self.opens_at_hour < _DAY_HOURS:
            raise BadHorizon(f"opens_at_hour: {self.opens_at_hour} is not from 0 to under 24")
        for closure in self.closures:
            if closure.last_on < closure.first_on or not 0 <= closure.hours_per_day <= 24:
                raise BadHorizon(f"closure from {closure.first_on.date()}: it ends before it begins"
                                 " or has hours outside 0 to 24")  # fmt: skip

    def minutes_by_day(self, first: pd.Timestamp, days: int) -> np.ndarray:
        """Open minutes of one bench on each day from `first`, shape (days,)."""
        dates = pd.date_range(first, periods=days)
        hours = np.array(self.hours_by_weekday)[dates.day_of_week]
        for closure in self.closures:
            inside = (dates >= closure.first_on) & (dates <= closure.last_on)
            hours = np.where(inside, np.minimum(hours, closure.hours_per_day), hours)
        for month, day in self.closed_every_year:
            hours = np.where((dates.month == month) & (dates.day == day), 0.0, hours)
        return np.asarray(hours * 60.0)

    def clock(self, first: pd.Timestamp, days: int) -> BenchClock:
        """Return the clock of one bench over so many days from `first`."""
        return BenchClock(self.minutes_by_day(first, days), self.opens_at_hour)


class BenchClock:
    """Minutes of bench time beside hours of the calendar, both from midnight of the first day.

    minutes : open minutes of each day, shape (days,).
    before : open minutes before each day, and before the end, shape (days + 1,).
    opens : hour of the day at which each day begins, shape (days,).
    """

    def __init__(self, minutes: np.ndarray, opens_at_hour: float) -> None:
        self.minutes = minutes
        self.before = np.concatenate([[0.0], np.cumsum(minutes)])
        self.opens = np.minimum(opens_at_hour, _DAY_HOURS - minutes / 60.0)

    def calendar_hour(self, minute: np.ndarray) -> np.ndarray:
        """Say when work that reaches a minute of bench time ends: an evening, not the next day."""
        day = np.maximum(np.searchsorted(self.before, minute) - 1, 0)
        day = np.minimum(day, len(self.minutes) - 1)
        within = (minute - self.before[day]) / 60.0
        return np.asarray(_DAY_HOURS * day + self.opens[day] + within)

    def bench_minute(self, hour: np.ndarray) -> np.ndarray:
        """Say how many minutes the bench has been open by an hour of the calendar."""
        day = np.clip(hour // _DAY_HOURS, 0, len(self.minutes) - 1).astype(np.int64)
        within = 60.0 * (hour - _DAY_HOURS * day - self.opens[day])
        return np.asarray(self.before[day] + np.clip(within, 0.0, self.minutes[day]))

    def dried(self, minute: np.ndarray, hours: np.ndarray) -> np.ndarray:
        """Say when what was laid aside has dried for so many hours of the calendar."""
        dry = self.bench_minute(self.calendar_hour(minute) + hours)
        return np.asarray(np.maximum(dry, minute))
