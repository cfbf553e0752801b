"""Asked days: which jobs of a year come sooner when owners are asked?

Asking moves jobs and makes none. An owner who comes in the year brings the pair within a week of
the day asked for. Who would come sooner anyway still does. Who would come only in a later year is
counted apart, as brought forward: later years have these jobs less.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from solespan.forecast.workload.jobs import Jobs

__all__ = ["ask_owners", "brought_forward"]

ANSWER_DAYS = 7.0


def ask_owners(jobs: Jobs, ask_day: np.ndarray, seed: int) -> Jobs:
    """Move the jobs of owners who are asked.

    Parameters
    ----------
    jobs : Jobs
        Of simulated years in which nobody is asked.
    ask_day : ndarray, shape (rows of the due table,)
        Days from today on which the owner of each row is asked; inf = never.

    Returns
    -------
    Jobs
        The same jobs, none later than before. What follows on a pair moves with its first job.
    """
    rng = np.random.default_rng([seed, 2])
    asked = jobs.row >= 0
    asked[asked] = np.isfinite(ask_day[jobs.row[asked]])
    place = np.flatnonzero(asked)
    if not len(place):
        return jobs
    key = jobs.year[place] * len(ask_day) + jobs.row[place]
    found, of = np.unique(key, return_inverse=True)
    first = np.full(len(found), np.iinfo(np.int64).max)
    np.minimum.at(first, of, jobs.day[place])
    answered = ask_day[found % len(ask_day)] + ANSWER_DAYS * rng.random(len(found))
    sooner = np.maximum(first - 1 - np.floor(answered).astype(np.int64), 0)
    day = jobs.day.copy()
    day[place] = np.maximum(day[place] - sooner[of], 1)
    return replace(jobs, day=day)


def brought_forward(
    jobs: Jobs, ask_day: np.ndarray, chance: np.ndarray, years: int, horizon_days: int, seed: int
) -> np.ndarray:
    """Count the jobs of later years that asking brings into each simulated year, shape (years,).

    Parameters
    ----------
    chance : ndarray, shape (rows of the due table,)
        Chance that the owner comes at all when asked.
    """
    rng = np.random.default_rng([seed, 5])
    rows = np.flatnonzero(ask_day + ANSWER_DAYS < horizon_days)
    there = np.zeros((years, len(ask_day)), bool)
    of_pair = jobs.row >= 0
    there[jobs.year[of_pair], jobs.row[of_pair]] = True
    there = there[:, rows]
    share = there.mean(axis=0)
    later = np.maximum(chance[rows] - share, 0.0) / np.maximum(1.0 - share, 1e-9)
    return np.asarray((~there & (rng.random(there.shape) < later)).sum(axis=1))
