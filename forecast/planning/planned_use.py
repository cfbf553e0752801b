"""Planned use: how uncertain is wear to come, when the wear days themselves are planned?

A planned wear day happens; what stays uncertain is how much it wears the sole (hours, wet, ground).
Unplanned use keeps the whole uncertainty of the pace.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from solespan.forecast.covariates import FLAGS
from solespan.forecast.log import WearLog
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.panel.wear_cells import base_exposure, cells, flag_table
from solespan.forecast.use.calendar import UseAhead

__all__ = ["PlannedUse", "exposure_per_wear_day", "planned", "wear_days_now"]

_POOL_CV = 0.5  # spread of one wear day's exposure where little is logged; common practice
_USUAL_DAYS = 365  # ahead, at which a plan is weighed against the pace
_POOL_DAYS = 30.0


@dataclass(frozen=True)
class PlannedUse(UseAhead):
    """Use whose wear days are laid out day by day.

    cumulative : ndarray, shape (pairs, horizon + 2)
        Wear days until the end of each day; the season curve of each pair is its own.
    share_planned : ndarray, shape (pairs, horizon + 2)
        How much of the wear so far is planned, 0 to 1.
    day_spread : ndarray, shape (pairs,)
        SD over mean of the exposure of one wear day.
    """

    cumulative: np.ndarray
    share_planned: np.ndarray
    day_spread: np.ndarray
    knot_days = 1

    def season_days(self, members: np.ndarray, every: int = 1) -> np.ndarray:
        """Wear days until the end of every so many days, shape (m, knots)."""
        last = self.cumulative.shape[1] - 1
        knots = np.minimum(np.arange(0, last + every, every), last)
        return np.asarray(self.cumulative[members[:, None], knots])

    def season_days_until(self, days: int) -> np.ndarray:
        """Wear days within the next days, shape (n,)."""
        return np.asarray(self.cumulative[:, days])

    def spread(self, days: np.ndarray, season_days: np.ndarray, member: np.ndarray) -> np.ndarray:
        """SD of wear until so many days ahead over its mean, for members of the pairs."""
        free = super().spread(days, season_days / self.wear_days_per_day[member], member)
        at = np.clip(np.asarray(days), 0, self.cumulative.shape[1] - 1).astype(int)
        worn = np.maximum(self.cumulative[member, at], 0.25)
        square = np.square(self.day_spread[member])
        held = square / worn + square / self.known_days[member]
        share = self.share_planned[member, at]
        return np.asarray(np.sqrt(share * held + (1.0 - share) * np.square(free)))


def exposure_per_wear_day(ahead: UseAhead) -> np.ndarray:
    """Standard wear days per wear day of each pair, shape (pairs,)."""
    return np.asarray(ahead.per_day / np.maximum(ahead.wear_days_per_day, 1e-12))


def wear_days_now(ahead: UseAhead) -> np.ndarray:
    """Expected wear days on each day to come as things are, shape (pairs, horizon + 1)."""
    every = np.arange(len(ahead.per_day))
    seasons = np.diff(ahead.season_days(every), axis=1)
    return np.asarray(ahead.wear_days_per_day[:, None] * seasons)


def planned(
    known: Conditioned,
    log: WearLog,
    wear_days: np.ndarray,
    named: np.ndarray,
    factor: np.ndarray | float = 1.0,
) -> Conditioned:
    """Put laid-out wear days in the place of the use ahead.

    Parameters
    ----------
    wear_days, named : ndarray, shape (pairs, horizon + 1)
        See `forecast.planning.habits.wear_days_by_day`.
    factor : ndarray, shape (pairs,), optional
        On the exposure of one wear day; see `forecast.planning.conditions`.
    """
    ahead = known.ahead
    n = len(ahead.per_day)
    # flat stretches get a little slope, so that a number of wear days has one day
    steps = np.maximum(wear_days, 1e-9)
    cumulative = np.concatenate([np.zeros((n, 1)), np.cumsum(steps, axis=1)], axis=1)
    given = np.concatenate([np.zeros((n, 1)), np.cumsum(steps * named, axis=1)], axis=1)
    share = given / np.maximum(cumulative, 1e-12)
    days = np.maximum(np.arange(cumulative.shape[1], dtype=float), 1.0)
    use = PlannedUse(
        per_day=exposure_per_wear_day(ahead) * factor,
        wear_days_per_day=np.maximum(cumulative[:, -1] / days[-1], 1e-9),
        known_days=ahead.known_days,
        short_log=ahead.short_log,
        follows=ahead.follows * (1.0 - share[:, min(_USUAL_DAYS, share.shape[1] - 1)]),
        year=np.ones((n, 1)),
        meanwhile=np.ones(n),
        year_known=np.zeros(n, bool),
        year_begin=0.0,
        horizon_days=cumulative.shape[1] - 2,
        error=ahead.error,
        cumulative=cumulative,
        share_planned=share,
        day_spread=_day_spread(known, log),
    )
    return replace(known, ahead=use)


def _day_spread(known: Conditioned, log: WearLog) -> np.ndarray:
    """SD over mean of one wear day's exposure by pair, pooled towards a usual value."""
    days = log.wear_days
    scale = np.exp(flag_table() @ known.fit.multipliers[: len(FLAGS)])
    worn = base_exposure(days) * scale[cells(days)]
    pair = pd.Index(known.panel.pair_ids).get_indexer(pd.Index(days["pair_id"].astype(object)))
    keep = pair >= 0
    pair, worn = pair[keep], worn[keep]
    n = len(known.panel.pair_ids)
    count = np.bincount(pair, minlength=n).astype(float)
    mean = np.bincount(pair, worn, n) / np.maximum(count, 1.0)
    square = np.bincount(pair, np.square(worn - mean[pair]), n)
    relative = square / np.maximum(np.square(mean), 1e-9)
    return np.asarray(np.sqrt((relative + _POOL_DAYS * _POOL_CV**2) / (count + _POOL_DAYS)))
