"""Small works (count model): how many come in on pairs that are followed, foreseen by no date?

Top pieces and plates have a due date only where somebody looks at heel and toe. The shop's counts
of small works on followed pairs stand for the others: what the pairs' dates foresee is taken off.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from solespan.forecast.frames import WORKS
from solespan.forecast.workload.mix import SOLE_WORKS
from solespan.forecast.workload.newcomers import Newcomers, days_of_months, fit_newcomers

__all__ = ["SmallWorks", "fit_small_works"]

_LEAST_MONTHS, _LEAST_JOBS, _MOST_MONTHS = 6, 5, 24
_SMALL = np.array([work not in SOLE_WORKS for work in WORKS])


@dataclass(frozen=True)
class SmallWorks:
    """Monthly counts of small works on followed pairs; Dirichlet weights in the order of `WORKS`.

    counts : None = too few to say.
    """

    counts: Newcomers | None
    mix: np.ndarray

    def draw(
        self, foreseen: np.ndarray, as_of: pd.Timestamp, years: int, rng: np.random.Generator
    ) -> np.ndarray:
        """Draw the jobs that no date foresees: rows year, day, work, shape (3, jobs).

        Parameters
        ----------
        foreseen : ndarray, shape (days, works)
            Jobs on each day as the dates of the pairs foresee them, in the mean.
        """
        if self.counts is None:
            return np.zeros((3, 0), dtype=np.int64)
        year, day = days_of_months(self.counts, as_of, len(foreseen), years, rng)
        more = 1.0 - foreseen[:, _SMALL].sum() / max(len(year) / years, 1e-9)
        kept = rng.random(len(year)) < more
        year, day = year[kept], day[kept]
        shares = rng.dirichlet(self.mix[_SMALL], years).cumsum(axis=1)
        place = (rng.random(len(year))[:, None] > shares[year]).sum(axis=1)
        work = np.flatnonzero(_SMALL)[np.minimum(place, _SMALL.sum() - 1)]
        return np.array([year, day, work])


def fit_small_works(
    jobs: pd.DataFrame, of_newcomer: np.ndarray, since: pd.Timestamp, as_of: pd.Timestamp
) -> SmallWorks:
    """Learn from the small works on pairs that were followed; parameters as `fit_newcomers`."""
    mine = np.asarray(~of_newcomer & ~jobs["work"].isin(SOLE_WORKS))
    seen = jobs["work"][mine].value_counts()
    mix = np.array([seen.get(work, 0) + 1e-3 for work in WORKS])
    counts = fit_newcomers(jobs, mine, since, as_of, _MOST_MONTHS)
    few = counts.months_known < _LEAST_MONTHS or mine.sum() < _LEAST_JOBS
    return SmallWorks(None if few else replace(counts, repeats_per_day=0.0), mix)
