"""Jobs of simulated years: what comes in on which day, and what is booked already?"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from solespan.forecast.workload.year_level import YearLevel

__all__ = ["Booked", "Jobs", "SimulatedYears"]


@dataclass(frozen=True)
class Jobs:
    """Jobs of the listed years, one entry each, every array of shape (jobs,).

    year : which simulated year; day : days after as_of it comes in; work : place in `WORKS`;
    row : row of the due table, -1 for a newcomer or a work without a date; due_day : day its point
    was due, -1 unknown.
    """

    year: np.ndarray
    day: np.ndarray
    work: np.ndarray
    row: np.ndarray
    due_day: np.ndarray


@dataclass(frozen=True)
class Booked:
    """Jobs booked for a day: days after as_of (past ones count as tomorrow), places in `WORKS`."""

    day: np.ndarray
    work: np.ndarray

    @classmethod
    def none(cls) -> Booked:
        """Nothing is booked."""
        return cls(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64))


@dataclass(frozen=True)
class SimulatedYears:
    """Simulated arrivals.

    counts : ndarray of int, shape (years, days, works)
        Jobs received on each day from the day after `as_of`, by kind in the order of `WORKS`.
    of_newcomers : ndarray of int, shape (years,)
        How many of them are on pairs nobody follows yet.
    jobs : Jobs
        Every job of the listed years.
    level : YearLevel, optional
        What the totals were brought to; None: the pairs alone were asked.
    """

    as_of: pd.Timestamp
    counts: np.ndarray
    of_newcomers: np.ndarray
    jobs: Jobs
    level: YearLevel | None = None

    @property
    def days(self) -> pd.DatetimeIndex:
        """The calendar day of each place of `counts`."""
        first = self.as_of + pd.Timedelta(days=1)
        return pd.date_range(first, periods=self.counts.shape[1])

    def until(self, days: int) -> SimulatedYears:
        """The first days of the same years; newcomers stay those of the whole."""
        inside = self.jobs.day <= days
        jobs = Jobs(*(getattr(self.jobs, f.name)[inside] for f in fields(Jobs)))
        return replace(self, counts=self.counts[:, :days], jobs=jobs)
