"""Simulated calendar: which calendar date is each numbered day of a world?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.synthetic_data.pairs import Ints

__all__ = ["Calendar"]


@dataclass(frozen=True)
class Calendar:
    """Day 0 is `first`; the log ends with day `log_end`."""

    first: pd.Timestamp
    log_end: int

    def dates(self, day: Ints) -> pd.Series:
        """Dates as `datetime64[s]`; a negative day is missing."""
        day = np.asarray(day)
        dates = np.datetime64(self.first.date(), "s") + day.astype("timedelta64[D]")
        return pd.Series(np.where(day < 0, np.datetime64("NaT", "s"), dates))

    def weekdays(self, n_days: int) -> Ints:
        """0 = Monday to 6 = Sunday, of days 0 to n_days - 1."""
        return (self.first.day_of_week + np.arange(n_days)) % 7

    def year_days(self, n_days: int) -> Ints:
        """Place in the year, from 0, leap days overlooked."""
        return (self.first.day_of_year - 1 + np.arange(n_days)) % 365
