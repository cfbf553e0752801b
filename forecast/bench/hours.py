"""Opening hours: when is the bench open, and on which day has it worked so many minutes?

The bench's own clock runs only in its hours. `BenchHours` turns calendar days into minutes of bench
time and back, so that holidays, leave and short weeks need no care in the queue.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from solespan.forecast.errors import BadHorizon

__all__ = ["BenchHours", "Closure"]


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
    """

    hours_by_weekday: tuple[float, ...] = (7.0, 7.0, 7.0, 7.0, 7.0, 0.0, 0.0)
    closures: tuple[Closure, ...] = field(default=())
    benches: int = 1

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        if len(self.hours_by_weekday) != 7 or not all(0 <= h <= 24 for h in self.hours_by_weekday):
            raise BadHorizon("hours_by_weekday: seven numbers from 0 to 24 are accepted")
        if sum(self.hours_by_weekday) <= 0:
            raise BadHorizon("hours_by_weekday: the bench must be open at some time in the week")
        if not 1 <= self.benches <= 50:
            raise BadHorizon(f"benches: {self.benches} is not between 1 and 50")
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
        return np.asarray(hours * 60.0)

    def clock(self, first: pd.Timestamp, days: int) -> np.ndarray:
        """Open minutes of one bench before each day from `first`, shape (days + 1,)."""
        return np.concatenate([[0.0], np.cumsum(self.minutes_by_day(first, days))])
