"""Asked days: which pairs come when their owners are asked for a given day?

Whole years are simulated with a day on which each owner is asked. An owner who would come brings
the pair within a week of that day, or when they would come anyway, whichever is sooner.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from solespan.forecast.workload.habits import Habits
from solespan.forecast.workload.jobs import Jobs
from solespan.forecast.workload.marginals import DueTable
from solespan.forecast.workload.settings import WorkloadSettings
from solespan.forecast.workload.simulate import come_in, joint_scores, still_used

__all__ = ["asked_years"]

ANSWER_DAYS = 7.0


def asked_years(
    due: DueTable,
    ask_day: np.ndarray,
    habits: Habits,
    works: np.ndarray,
    horizon_days: int,
    years: int,
    settings: WorkloadSettings,
) -> Jobs:
    """Simulate the soles' jobs when owners are asked.

    Parameters
    ----------
    due : DueTable
        Rows of the ball only.
    ask_day : ndarray, shape (n,)
        Days from today on which the owner is asked; inf = never.
    works : ndarray of int, shape (n,)
        Place in `frames.WORKS` of the work each pair would get.
    horizon_days, years : int
        How far and how many.

    Returns
    -------
    Jobs
        The same seed gives the same due dates and habits whatever `ask_day` is.
    """
    rng = np.random.default_rng([settings.seed, 2])
    habit = habits.draw(years, rng)
    common = np.sqrt(settings.shared_by_all) * rng.standard_normal(years)
    n = len(due.rows)
    if not n:
        return Jobs(*np.zeros((5, 0), dtype=np.int64))
    score = joint_scores(due, common, settings, rng)
    used = np.broadcast_to(still_used(due, years, rng), (n, years)).ravel()
    row = np.repeat(np.arange(n), years)
    year = np.tile(np.arange(years), n)
    due_day = due.days_at(row, ndtr(score.ravel().astype(float)))
    overdue = np.where(due_day <= 0, due.rows["overdue_days"].to_numpy()[row], 0.0)
    came, wait = come_in(habit, year, overdue, rng)
    answered = ask_day[row] + ANSWER_DAYS * rng.random(len(row))
    arrival = np.where(came & used, np.minimum(due_day + wait, answered), np.inf)
    inside = arrival < horizon_days
    told_due = np.where(np.isfinite(due_day), np.floor(due_day), horizon_days * 10)
    return Jobs(
        year[inside],
        np.floor(arrival[inside]).astype(np.int64) + 1,
        works[row[inside]],
        row[inside],
        told_due[inside].astype(np.int64),
    )
