"""Day load: how much promised work falls on each day, beside the hours that the bench is open?

Work that is late falls on the first day. A day is over when all work promised up to it needs more
hours than the bench is open until then.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from solespan.forecast.bench.hours import BenchHours

__all__ = ["DayLoad", "day_loads"]


@dataclass(frozen=True)
class DayLoad:
    """One day: open minutes of all benches, minutes promised for it, and minutes over so far."""

    on: date
    open_minutes: float
    load_minutes: float
    over_minutes: float


def day_loads(
    hours: BenchHours, promised: Iterable[tuple[date, float]], today: date, days: int
) -> list[DayLoad]:
    """Sum the minutes promised by day.

    Parameters
    ----------
    hours : BenchHours
    promised : iterable of (date, float)
        Day promised and hands-on minutes of each piece of work that is not done.
    today : date
        The first day.
    days : int
        How many days to tell of.
    """
    room = _room(hours, today, days)
    load = np.zeros(days)
    for on, minutes in promised:
        place = max(0, (on - today).days)
        if place < days:
            load[place] += minutes
    over = np.maximum(np.cumsum(load) - np.cumsum(room), 0.0)
    return [
        DayLoad(today + timedelta(days=k), float(room[k]), float(load[k]), float(over[k]))
        for k in range(days)
    ]


def _room(hours: BenchHours, first: date, days: int) -> np.ndarray:
    return np.asarray(hours.minutes_by_day(pd.Timestamp(first), days) * hours.benches)
