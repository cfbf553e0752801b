"""Owner habits: do owners of due pairs come in, after how long, and do they keep what they booked?

A cure model: a due pair is brought with some chance, and then after a lognormal delay. Those who
have not come yet are censored. Three numbers are learnt, apart for owners who do not log and for
owners who do. Past years teach them (`hand_overs`), and then outcomes of due pairs. Before these
the prior holds alone. Their uncertainty is kept, because a shop's whole year shares it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit, ndtr

from solespan.forecast.errors import BadFrame
from solespan.forecast.workload.hand_overs import (
    EARLY_SHARE,
    LOGS,
    PRIOR_KEPT,
    PRIOR_MISSED,
    PastHabits,
    find_posterior,
)

__all__ = ["OUTCOMES", "HabitDraws", "Habits", "fit_habits"]

OUTCOMES = ("came", "declined", "no_show", "open")
_YEARS_KEPT_DRAWS = 1e-9
_USUAL_LIFE_DAYS = 730.0  # of a sole whose outcome is told; common practice, no source


@dataclass(frozen=True)
class HabitDraws:
    """Habits as they may be in each simulated year.

    The first three have shape (2, years): owners who do not log, owners who do. `no_show` has shape
    (years,). Owners who log come later to what they missed, so that it is of bookings alone.
    """

    come: np.ndarray
    median_delay_days: np.ndarray
    delay_log_sd: np.ndarray
    no_show: np.ndarray


@dataclass(frozen=True)
class Habits:
    """What is believed of owners: mean (2, 3) and covariance (2, 3, 3), and bookings missed.

    The first row is of owners who do not log, the second of those who do.

    n_outcomes : how many due pairs it was learnt from; 0 = the prior alone.
    logs_share : share of the pairs whose owner logs, by which both kinds are told as one.
    """

    mean: np.ndarray
    cov: np.ndarray
    kept: float
    missed: float
    n_outcomes: int
    logs_share: float = 0.0

    @property
    def come(self) -> float:
        """Chance that the owner of a due pair books it in."""
        return self._told(expit(self.mean[:, 0]))

    @property
    def median_delay_days(self) -> float:
        """Median delay of those who come."""
        early = np.array([0.0, EARLY_SHARE * _USUAL_LIFE_DAYS])
        return self._told(np.maximum(np.exp(self.mean[:, 1]) - early, 0.0))

    @property
    def no_show(self) -> float:
        """Chance that a booked pair is not brought."""
        return self.missed / (self.kept + self.missed)

    def brings(self, logs: np.ndarray) -> np.ndarray:
        """Chance that a due pair is brought in the end, by whether its owner logs."""
        come = expit(self.mean[:, 0]) * np.array([1.0 - self.no_show, 1.0])
        return np.asarray(come[logs.astype(int)])

    def draw(self, years: int, rng: np.random.Generator) -> HabitDraws:
        """Draw the habits of some years."""
        root = np.linalg.cholesky(self.cov + _YEARS_KEPT_DRAWS * np.eye(3))
        score = rng.standard_normal((2, years, 3))
        values = self.mean[:, None, :] + score @ root.transpose(0, 2, 1)
        return HabitDraws(
            expit(values[..., 0]),
            np.exp(values[..., 1]),
            np.exp(np.clip(values[..., 2], -3.0, 1.0)),
            rng.beta(self.missed, self.kept, years),
        )

    def _told(self, of_kinds: np.ndarray) -> float:
        return float(np.array([1.0 - self.logs_share, self.logs_share]) @ of_kinds)


def fit_habits(
    outcomes: pd.DataFrame,
    as_of: str | pd.Timestamp,
    past: PastHabits | None = None,
    logs_share: float = 0.0,
) -> Habits:
    """Learn from what became of pairs that were due.

    Parameters
    ----------
    outcomes : DataFrame
        `due_on` (when the pair was due, or its owner was told so), `outcome` (one of `OUTCOMES`)
        and `came_on` (for `came`). Rows later than `as_of` are not used, and one that came later
        counts as open.
    as_of : date-like
    past : PastHabits, optional
        What past years told, in the place of the prior.
    logs_share : float
        Share of the pairs whose owner logs.

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
    past = past or PastHabits.none()
    found = []
    for kind in range(len(past.mean)):
        # an owner who logs may come from some days before the date on
        since = waited + (EARLY_SHARE * _USUAL_LIFE_DAYS if kind == LOGS else 0.0)
        told = _Told(since[came], since[still_open], int(declined.sum()), int(missed.sum()))
        found.append(find_posterior(told.chance, past.mean[kind], past.cov[kind]))
    return Habits(
        np.array([mean for mean, _ in found]),
        np.array([cov for _, cov in found]),
        PRIOR_KEPT + float(came.sum()),
        PRIOR_MISSED + float(missed.sum()),
        len(rows) + past.came,
        logs_share,
    )


@dataclass(frozen=True)
class _Told:
    """Outcomes: days that who came waited, days that others have waited, refusals, no-shows."""

    came: np.ndarray
    waiting: np.ndarray
    declined: int
    missed: int

    def chance(self, values: np.ndarray) -> float:
        """Log chance of them; a missed booking was a decision to come."""
        come, sd = expit(values[0]), np.exp(values[2])
        z = (np.log(self.came) - values[1]) / sd
        later = ndtr((values[1] - np.log(self.waiting)) / sd)
        return float(
            (len(z) + self.missed) * np.log(come)
            + self.declined * np.log1p(-come)
            - 0.5 * np.sum(z * z)
            - len(z) * values[2]
            + np.sum(np.log(1.0 - come + come * later))
        )
