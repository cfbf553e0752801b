"""Owner habits: do owners of due pairs come in, after how long, and do they keep what they booked?

A cure model: a due pair is brought with some chance, and then after a lognormal delay. Those who
have not come yet are censored. Three numbers are learnt from the outcomes of due pairs. Before any
outcome the prior holds alone (common practice, no source). Their uncertainty is kept, because a
shop's whole year shares it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import expit, ndtr

from solespan.forecast.errors import BadFrame

__all__ = ["OUTCOMES", "HabitDraws", "Habits", "fit_habits"]

# Logit of the chance to come in, log of the median delay in days, log of the delay's log-SD. The
# owner is one who still is a customer and wears the pair.
PRIOR_MEAN = np.array([3.0, np.log(21.0), np.log(0.9)])
PRIOR_SD = np.array([0.8, 0.8, 0.35])
PRIOR_KEPT, PRIOR_MISSED = 19.0, 1.0  # one booking in twenty is not kept
OUTCOMES = ("came", "declined", "no_show", "open")
_YEARS_KEPT_DRAWS = 1e-9


@dataclass(frozen=True)
class HabitDraws:
    """Habits as they may be in each simulated year, every array of shape (years,)."""

    come: np.ndarray
    median_delay_days: np.ndarray
    delay_log_sd: np.ndarray
    no_show: np.ndarray


@dataclass(frozen=True)
class Habits:
    """What is believed of owners: mean and covariance of the three numbers, and bookings missed.

    n_outcomes : how many due pairs it was learnt from; 0 = the prior alone.
    """

    mean: np.ndarray
    cov: np.ndarray
    kept: float
    missed: float
    n_outcomes: int

    @property
    def come(self) -> float:
        """Chance that the owner of a due pair books it in."""
        return float(expit(self.mean[0]))

    @property
    def median_delay_days(self) -> float:
        """Median delay of those who come."""
        return float(np.exp(self.mean[1]))

    @property
    def no_show(self) -> float:
        """Chance that a booked pair is not brought."""
        return self.missed / (self.kept + self.missed)

    def draw(self, years: int, rng: np.random.Generator) -> HabitDraws:
        """Draw the habits of some years."""
        root = np.linalg.cholesky(self.cov + _YEARS_KEPT_DRAWS * np.eye(3))
        values = self.mean + rng.standard_normal((years, 3)) @ root.T
        return HabitDraws(
            expit(values[:, 0]),
            np.exp(values[:, 1]),
            np.exp(np.clip(values[:, 2], -3.0, 1.0)),
            rng.beta(self.missed, self.kept, years),
        )


def fit_habits(outcomes: pd.DataFrame, as_of: str | pd.Timestamp) -> Habits:
    """Learn from what became of pairs that were due.

    Parameters
    ----------
    outcomes : DataFrame
        `due_on` (when the pair was due, or its owner was told so), `outcome` (one of `OUTCOMES`)
        and `came_on` (for `came`). Rows later than `as_of` are not used, and one that came later
        counts as open.
    as_of : date-like

    Returns
    -------
    Habits

    Raises
    ------
    BadFrame
        An outcome is not one of `OUTCOMES`, or a pair came without a day.
    """
    day = pd.Timestamp(as_of)
    odd = set(outcomes["outcome"].unique()) - set(OUTCOMES)
    if odd:
        raise BadFrame(f"outcomes.outcome: {min(odd)!r} is not one of {', '.join(OUTCOMES)}")
    rows = outcomes[outcomes["due_on"] <= day]
    came = (rows["outcome"] == "came").to_numpy()
    if rows.loc[came, "came_on"].isna().any():
        raise BadFrame("outcomes.came_on: a pair that came needs the day it did")
    later = came & (rows["came_on"] > day).to_numpy()
    came = came & ~later
    days = (rows["came_on"].where(came, day) - rows["due_on"]).dt.days.to_numpy(float)
    # before the due date is as soon as can be
    waited = np.maximum(days, 0.0) + 0.5
    declined = (rows["outcome"] == "declined").to_numpy()
    missed = (rows["outcome"] == "no_show").to_numpy()
    still_open = ~(came | declined | missed)
    mean, cov = _posterior(waited[came], waited[still_open], int(declined.sum()), int(missed.sum()))
    return Habits(
        mean,
        cov,
        PRIOR_KEPT + float(came.sum()),
        PRIOR_MISSED + float(missed.sum()),
        len(rows),
    )


def _posterior(
    came: np.ndarray, waiting: np.ndarray, declined: int, missed: int
) -> tuple[np.ndarray, np.ndarray]:
    """Mode and curvature of the three numbers; a missed booking was a decision to come."""
    log_came, log_waiting = np.log(came), np.log(waiting)

    def loss(values: np.ndarray) -> float:
        come, sd = expit(values[0]), np.exp(values[2])
        z = (log_came - values[1]) / sd
        later = ndtr((values[1] - log_waiting) / sd)
        told = (
            (len(came) + missed) * np.log(come)
            + declined * np.log1p(-come)
            - 0.5 * np.sum(z * z)
            - len(came) * values[2]
            + np.sum(np.log(1.0 - come + come * later))
        )
        prior = (values - PRIOR_MEAN) / PRIOR_SD
        return float(0.5 * prior @ prior - told)

    found = minimize(loss, PRIOR_MEAN, method="BFGS", options={"gtol": 1e-6})
    step = 1e-3
    hessian = np.empty((3, 3))
    moves = np.eye(3) * step
    for i in range(3):
        for j in range(3):
            a, b = moves[i], moves[j]
            x = found.x
            hessian[i, j] = (
                loss(x + a + b) - loss(x + a - b) - loss(x - a + b) + loss(x - a - b)
            ) / (4 * step * step)
    return found.x, np.linalg.inv(0.5 * (hessian + hessian.T))
