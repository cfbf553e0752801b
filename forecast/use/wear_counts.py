"""Wear counts.

How often was each pair worn in each four weeks, and when could it have been worn at all?

Turns a log into the `WearCounts` that `forecast.use.usage` learns from. A pair could be worn while
a sole was on it, it was not at a shop, and its wearer was logging. In a gap of a log the days count
as open by how far the wearer was away.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array

from solespan.forecast.covariates import FLAGS
from solespan.forecast.frames import GRADES, WEARING_POINTS
from solespan.forecast.panel.exposure import NEVER, members_of
from solespan.forecast.panel.log_arrays import LogArrays
from solespan.forecast.panel.wear_cells import flag_table

__all__ = ["PERIODS", "PERIOD_DAYS", "WearCounts", "wear_counts"]

PERIOD_DAYS = 28
PERIODS = 39  # three years
_YEAR_DAYS = 365.25
_SEASON_YEARS = 0.5  # that the panel's seasons are worth to a pair without a log
_HOLE = GRADES.index("hole")
_THROUGH = [WEARING_POINTS.index(point) for point in ("ball", "toe")]
_MANY_PAIRS = 200  # from here a sparse matrix adds up racks many times faster than `reduceat`


@dataclass(frozen=True)
class WearCounts:
    """Wear of pairs by period, newest period first.

    worn : ndarray, shape (pairs, periods)
        Standard wear days logged.
    days : ndarray, shape (pairs, periods)
        Wear days logged.
    open_days : ndarray, shape (pairs, periods)
        Days on which the pair could have been worn and the wearer was logging.
    group : ndarray of int, shape (pairs,)
        Dress code.
    wearer : ndarray of int, shape (pairs,)
    year_share : ndarray, shape (periods,)
        Where in the year the middle of each period lies, 0 to 1.
    on_shelf : ndarray of bool, shape (pairs,)
        Whether each pair can be taken from now on, or comes back from a shop.
    away : ndarray of bool, shape (pairs,)
        Whether each pair is at a shop now.
    """

    worn: np.ndarray
    days: np.ndarray
    open_days: np.ndarray
    group: np.ndarray
    wearer: np.ndarray
    year_share: np.ndarray
    on_shelf: np.ndarray
    away: np.ndarray

    def short_log(self, skip: int = 0) -> np.ndarray:
        """Part of a season's error that is left: less with each year in which the pair was open."""
        years = self.open_days[:, skip:].sum(axis=1) / _YEAR_DAYS
        return np.asarray(1.0 / (_SEASON_YEARS + years))

    def part(self, pairs: slice) -> WearCounts:
        """Counts of some neighbouring pairs, whole racks."""
        wearer = self.wearer[pairs]
        return WearCounts(
            worn=self.worn[pairs],
            days=self.days[pairs],
            open_days=self.open_days[pairs],
            group=self.group[pairs],
            wearer=wearer - wearer[0],
            year_share=self.year_share,
            on_shelf=self.on_shelf[pairs],
            away=self.away[pairs],
        )

    def kept(self, pairs: np.ndarray) -> WearCounts:
        """Counts of whole racks (a bool for each pair)."""
        if pairs.all():
            return self
        return WearCounts(
            worn=self.worn[pairs],
            days=self.days[pairs],
            open_days=self.open_days[pairs],
            group=self.group[pairs],
            wearer=np.unique(self.wearer[pairs], return_inverse=True)[1],
            year_share=self.year_share,
            on_shelf=self.on_shelf[pairs],
            away=self.away[pairs],
        )

    @cached_property
    def first(self) -> np.ndarray:
        """First pair of each wearer (pairs are sorted by wearer)."""
        return np.flatnonzero(np.r_[True, self.wearer[1:] != self.wearer[:-1]])

    @cached_property
    def most_open(self) -> np.ndarray:
        """Days on which a wearer could have worn the pair that could be worn most."""
        return np.maximum.reduceat(self.open_days, self.first, axis=0)

    @cached_property
    def _racks(self) -> csr_array:
        n = len(self.wearer)
        ends = np.append(self.first, n)
        return csr_array((np.ones(n), np.arange(n), ends), shape=(len(self.first), n))

    def by_wearer(self, values: np.ndarray) -> np.ndarray:
        """Sums over each wearer's pairs, which are on the first axis."""
        if len(self.wearer) < _MANY_PAIRS:
            return np.add.reduceat(values, self.first, axis=0)
        return np.asarray(self._racks @ values)


def wear_counts(log: LogArrays, log_multipliers: np.ndarray, gap_share: float = 1.0) -> WearCounts:
    """Count wear by period, newest first, ending on the log's day.

    Parameters
    ----------
    log : LogArrays
    log_multipliers : ndarray, shape (len(COVARIATES),)
        Of exposure, in the order of `forecast.covariates.COVARIATES`.
    gap_share : float
        Share of habit worn in a gap of a log. The rest of a gap counts as days without wear.
    """
    days, n = log.days, len(log.pair_ids)
    period = (log.today - days.day) // PERIOD_DAYS
    recent = period < PERIODS
    slot = log.day_pair[recent] * PERIODS + period[recent]
    scale = np.exp(flag_table() @ log_multipliers[: len(FLAGS)])[days.cell]
    worn = days.base * scale * (1.0 + log_multipliers[-1] * days.hours_driven)
    holed = _holed_on(log)
    shelf = np.zeros(n, bool)
    shelf[log.soles.pair[log.soles.current & (holed >= NEVER)]] = True
    middle = log.today - (np.arange(PERIODS) + 0.5) * PERIOD_DAYS
    return WearCounts(
        worn=np.bincount(slot, worn[recent], n * PERIODS).reshape(n, PERIODS),
        days=np.bincount(slot, minlength=n * PERIODS).reshape(n, PERIODS).astype(float),
        open_days=_open_days(log, holed, float(np.clip(gap_share, 0.0, 1.0))),
        group=log.pair_group,
        wearer=log.pair_wearer,
        year_share=(middle / _YEAR_DAYS) % 1.0,
        on_shelf=shelf | log.away,
        away=log.away,
    )


def _holed_on(log: LogArrays) -> np.ndarray:
    """Day from which each sole was not worn any more as it has a hole; `NEVER` where it was."""
    checks = log.checks
    hole = ((checks.grade == _HOLE) | (checks.mm <= 0.0)) & np.isin(checks.point, _THROUGH)
    sole = log.soles.on(checks.pair[hole], checks.day[hole])
    out = np.full(len(log.soles.pair), NEVER)
    np.minimum.at(out, sole[sole >= 0], checks.day[hole][sole >= 0])
    worn_last = np.full(len(out), -1)
    sole = log.soles.on(log.day_pair, log.days.day)
    np.maximum.at(worn_last, sole[sole >= 0], log.days.day[sole >= 0])
    return np.where(worn_last > out, NEVER, out)


def _open_days(log: LogArrays, holed: np.ndarray, gap_share: float) -> np.ndarray:
    """Days per pair and period on which the pair could have been worn and was being logged."""
    soles, today = log.soles, log.today
    wearer, n_wearers = log.pair_wearer[log.day_pair], len(log.wearer_ids)
    sole_wearer = log.pair_wearer[soles.pair]
    begun = np.full(n_wearers, today)
    np.minimum.at(begun, wearer, log.days.day)
    start = np.maximum(soles.fitted, begun[sole_wearer])
    end = np.minimum(np.minimum(soles.end, holed), today)
    out = _overlap(soles.pair, start, end, log)
    gaps = log.gaps
    gap, sole = members_of(gaps.wearer, sole_wearer)
    lost = np.maximum(start[sole], gaps.start[gap])
    out -= gap_share * _overlap(soles.pair[sole], lost, np.minimum(end[sole], gaps.end[gap]), log)
    jobs = log.jobs
    known = jobs.pair >= 0
    back = np.minimum(jobs.returned[known], today)
    out -= _overlap(jobs.pair[known], jobs.received[known], back, log)
    return np.asarray(np.maximum(out, 0.0))


def _overlap(pair: np.ndarray, start: np.ndarray, end: np.ndarray, log: LogArrays) -> np.ndarray:
    """Days of intervals [start, end] that fall into each period, shape (pairs, PERIODS)."""
    newest = log.today - np.arange(PERIODS) * PERIOD_DAYS
    oldest = newest - PERIOD_DAYS
    out = np.zeros((len(log.pair_ids), PERIODS))
    days = np.minimum(end[:, None], newest) - np.maximum(start[:, None], oldest)
    np.add.at(out, pair, np.clip(days, 0, None))
    return out
