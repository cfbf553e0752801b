"""Hand-overs: what do past years tell of whether and when owners come?

The log itself tells it, also where no outcome of a notice is known. For a past day it is known what
was forecast then, and which of the pairs on record came within the year. A pair that did not come
tells as much as one that came. Chance and delay are found that make both most likely, shrunk to
their priors. Owners who log and owners who do not are learnt apart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import expit, ndtr

from solespan.forecast.workload.marginals import EARLY_SHARE, DueTable

__all__ = [
    "EARLY_SHARE",
    "LOGS",
    "PRIOR_KEPT",
    "PRIOR_MISSED",
    "HandOvers",
    "PastHabits",
    "find_posterior",
    "hand_overs",
    "learn_past_habits",
]

LOGS = 1  # place of owners who log; 0 is of those who do not
# Logit of the chance to come in, log of the median delay in days, log of the delay's log-SD. The
# owner is one who still is a customer and wears the pair. Common practice, no source. The delay of
# owners who log is counted from some time before the date, see `marginals`.
PRIOR_MEAN = np.array([[3.0, np.log(21.0), np.log(0.9)], [3.9, np.log(60.0), np.log(1.1)]])
PRIOR_SD = np.array([[0.8, 0.8, 0.35], [0.8, 0.5, 0.2]])
PRIOR_KEPT, PRIOR_MISSED = 19.0, 1.0  # one booking in twenty is not kept
_WITHIN_DAYS = 365.0
_LEAST_LOG_DAYS = 183
_EVERY = 4  # of the grid of a due table
_NEVER = 1e6
_MOST_PAIRS = 2000
_LIKE = 1.3  # pairs of one owner tell less than as many pairs of strangers; no source
_YEAR_SD = 0.10  # log, error of a year's hand-overs that all its pairs share; no source
_LEAST = 1e-6


@dataclass(frozen=True)
class HandOvers:
    """Pairs on record on a past day, and whether each came within a year.

    wait_days : ndarray, shape (pairs, points)
        Days until the owner may come, at even shares of its distribution; negative: since when.
    in_use, logs, came : ndarray, shape (pairs,)
        Chance that it was in use, whether its owner logged, whether it came.
    """

    wait_days: np.ndarray
    in_use: np.ndarray
    logs: np.ndarray
    came: np.ndarray


@dataclass(frozen=True)
class PastHabits:
    """What past years told of both kinds of owners: mean (2, 3), covariance (2, 3, 3).

    came : of how many pairs that came.
    """

    mean: np.ndarray
    cov: np.ndarray
    came: int = 0

    @classmethod
    def none(cls) -> PastHabits:
        """No past year is known: the prior."""
        return cls(PRIOR_MEAN, np.array([np.diag(np.square(sd)) for sd in PRIOR_SD]))

    def to_dict(self) -> dict[str, Any]:
        """Plain values that JSON can hold; `from_dict` undoes it."""
        return {"mean": self.mean.tolist(), "cov": self.cov.tolist(), "came": self.came}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> PastHabits:
        """Read what `to_dict` gave."""
        return cls(np.array(data["mean"]), np.array(data["cov"]), int(data["came"]))


def hand_overs(
    due: DueTable, came: pd.Series, day: pd.Timestamp, first_worn_on: pd.Series
) -> HandOvers:
    """Set beside the due dates of a past day which pairs came for a sole within the year.

    Parameters
    ----------
    due : DueTable
        Of the past day.
    came : Series
        `pair_id` of pairs that came for a new sole.
    day : Timestamp
        The past day.
    first_worn_on : Series
        First day in the log on which each pair was worn, by `pair_id`. An owner who began to log
        less than half a year before is left out: a forecast knew too little.
    """
    begun = pd.to_datetime(due.rows["pair_id"].map(first_worn_on.to_dict()))
    logged = (day - begun.groupby(due.rows["wearer"]).transform("min")).dt.days
    counted = (due.rows["point"] == "ball") & ~(due.rows["logs"] & (logged < _LEAST_LOG_DAYS))
    ball = np.flatnonzero(counted.to_numpy())
    rows = due.rows.iloc[ball]
    days = due.opening_days[ball][:, _EVERY // 2 :: _EVERY]
    return HandOvers(
        np.where(np.isfinite(days), days, _NEVER),
        rows["in_use"].to_numpy(float),
        rows["logs"].to_numpy(bool),
        rows["pair_id"].isin(set(came)).to_numpy(bool),
    )


def learn_past_habits(years: Sequence[HandOvers]) -> PastHabits:
    """Learn whether and when owners come from what past years brought."""
    prior = PastHabits.none()
    found = []
    for kind in range(len(PRIOR_MEAN)):
        mine = [(year, np.flatnonzero(year.logs == bool(kind))) for year in years]
        step = max(1, -(-sum(len(rows) for _, rows in mine) // _MOST_PAIRS))
        seen = _Seen.of([(year, rows[::step]) for year, rows in mine], kind)
        found.append(find_posterior(seen.log_chance, prior.mean[kind], prior.cov[kind]))
    mean, cov = (np.array([f[k] for f in found]) for k in range(2))
    return PastHabits(mean, cov, sum(int(year.came.sum()) for year in years))


@dataclass(frozen=True)
class _Seen:
    """Pairs of one kind of owners, as in `HandOvers`.

    weight : how much each pair tells, as its year has an error that all its pairs share.
    kept : chance to keep a booking.
    """

    wait_days: np.ndarray
    in_use: np.ndarray
    came: np.ndarray
    weight: np.ndarray
    kept: float

    @classmethod
    def of(cls, parts: Sequence[tuple[HandOvers, np.ndarray]], kind: int) -> _Seen:
        points = parts[0][0].wait_days.shape[1] if parts else 1
        kept = 1.0 if kind == LOGS else PRIOR_KEPT / (PRIOR_KEPT + PRIOR_MISSED)
        return cls(
            np.concatenate([np.zeros((0, points)), *(y.wait_days[rows] for y, rows in parts)]),
            np.concatenate([np.zeros(0), *(y.in_use[rows] for y, rows in parts)]),
            np.concatenate([np.zeros(0, bool), *(y.came[rows] for y, rows in parts)]),
            np.concatenate([np.zeros(0), *(_weights(y.came[rows]) for y, rows in parts)]),
            kept,
        )

    def log_chance(self, values: np.ndarray) -> float:
        """Log chance that these pairs came within the year, and that the others did not."""
        come, center, sd = expit(values[0]), values[1], np.exp(values[2])
        by_then = _share_before(_WITHIN_DAYS - self.wait_days, center, sd)
        passed = _share_before(-self.wait_days, center, sd)
        chance = come * self.kept * (by_then - passed) / np.maximum(1.0 - come * passed, _LEAST)
        chance = np.clip(self.in_use * chance.mean(axis=1), _LEAST, 1.0 - _LEAST)
        return float(self.weight @ np.log(np.where(self.came, chance, 1.0 - chance)))


def _weights(came: np.ndarray) -> np.ndarray:
    return np.full(len(came), 1.0 / (_LIKE * (1.0 + _YEAR_SD**2 * came.sum())))


def _share_before(days: np.ndarray, center: float, sd: float) -> np.ndarray:
    """Share of delays that are over after so many days."""
    log_days = np.log(np.maximum(days, _LEAST))
    return np.where(days > 0.0, ndtr((log_days - center) / sd), 0.0)


def find_posterior(
    log_chance: Callable[[np.ndarray], float], mean: np.ndarray, cov: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mode and curvature of a few numbers that have a normal prior.

    Parameters
    ----------
    log_chance : callable
        Log chance of what was seen, given the numbers.
    mean, cov : ndarray
        Of the prior.
    """
    precision = np.linalg.inv(cov)

    def loss(values: np.ndarray) -> float:
        off = values - mean
        return float(0.5 * off @ precision @ off - log_chance(values))

    x = minimize(loss, mean, method="BFGS", options={"gtol": 1e-4}).x
    moves = np.eye(len(mean)) * 1e-2
    hessian = np.array(
        [
            [
                (loss(x + a + b) - loss(x + a - b) - loss(x - a + b) + loss(x - a - b)) / 4e-4
                for b in moves
            ]
            for a in moves
        ]
    )
    return x, np.linalg.inv(0.5 * (hessian + hessian.T))
