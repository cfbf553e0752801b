"""Renewal model: when does a sole come off, by how long soles last and how old it is?

The yardstick for those who log nothing: it reads fitting and removal days only. Lives are lognormal
by wearer and pair (`forecast.dates.models.lognormal_lives`). The remaining life is that of a sole
that has got as old as it is. An owner may have left after the last visit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import log_ndtr, logsumexp

from solespan.forecast.dates.models.entry import DueModel, DueRows
from solespan.forecast.dates.models.lognormal_lives import (
    LifeFit,
    LifePrior,
    Lives,
    fit_lives,
    life_mixtures,
)
from solespan.forecast.log import WearLog

__all__ = ["ENTRY", "Renewal", "chance_still_customer", "renewal"]

DRAWS = 256
_GRID = 240
_BLOCK = 2000
_LEAST_LOG_WEIGHT, _FEW_PARTS = -25.0, 25


@dataclass(frozen=True)
class Renewal:
    """What lives alone say of every pair with a sole on.

    days : DataFrame, shape (pairs, 256)
        Index pair_id; evenly likely days until the sole comes off, cut at the horizon, if the
        owner is still a customer.
    still_customer : Series
        Chance that the owner is, by pair_id.
    fit : LifeFit
    materials : tuple of str
        Those of the coefficients; the first is the one meant by the intercept.
    """

    days: pd.DataFrame
    still_customer: pd.Series
    fit: LifeFit
    materials: tuple[str, ...]


def chance_still_customer(survivor: np.ndarray, leave: float) -> np.ndarray:
    """Chance that a customer not seen since the last visit has not left for good.

    Parameters
    ----------
    survivor : ndarray
        Chance that the time until the next visit is longer than the time passed, had they stayed.
    leave : float
        Chance of leaving after a visit.
    """
    stays = (1.0 - leave) * np.asarray(survivor, float)
    return np.asarray(stays / (leave + stays))


def _draw(log: WearLog, as_of: pd.Timestamp, horizon_days: int, _fit: object = None) -> DueRows:
    found = renewal(log, as_of, horizon_days)
    rows = pd.DataFrame(
        {
            "pair_id": found.days.index,
            "foot": "pair",
            "point": "ball",
            "chance_in_use": found.still_customer.to_numpy(),
        }
    )
    return DueRows(rows, found.days.to_numpy())


ENTRY = DueModel(
    "renewal",
    "lives of soles alone",
    "judged by how long soles last: the renewal model",
    _draw,
)


def renewal(
    log: WearLog,
    as_of: pd.Timestamp,
    horizon_days: int,
    like: Renewal | None = None,
    *,
    plain: bool = False,
) -> Renewal:
    """Fit the lives of all soles until `as_of`, and say how long those on will last.

    Parameters
    ----------
    log : WearLog
    as_of : Timestamp
        Nothing later is used.
    horizon_days : int
    like : Renewal, optional
        An earlier one whose parameters are taken, instead of a new fit.
    plain : bool
        Whether materials and owners who leave stay out: pair in wearer in shop, and no more.
    """
    known = log.until(as_of)
    soles = known.soles.sort_values(["pair_id", "fitted_on"], kind="stable", ignore_index=True)
    counts = soles["material"].value_counts()
    materials = like.materials if like else tuple(str(m) for m in counts.index)
    if plain:
        materials, soles = materials[:1], soles.assign(material=materials[0])
    lives, current, pair_ids = _lives(known, soles, as_of, materials)
    fit = like.fit if like else fit_lives(lives, prior=LifePrior(), leaves=not plain)
    ahead = horizon_days * np.square(np.linspace(0.0, 1.0, _GRID))
    levels = (np.arange(DRAWS) + 0.5) / DRAWS
    days, alive = np.empty((len(current), DRAWS)), np.empty(len(current))
    for start in range(0, len(current), _BLOCK):
        part = slice(start, start + _BLOCK)
        log_survivor = _log_survivor(fit, lives, current[part], ahead)
        alive[part] = np.exp(log_survivor[:, 0])
        gone_by = 1.0 - np.exp(log_survivor - log_survivor[:, :1])
        for row, shares in enumerate(gone_by):
            days[start + row] = np.interp(levels, shares, ahead, right=horizon_days)
    still = pd.Series(chance_still_customer(alive, fit.leave), pair_ids, name="still_customer")
    return Renewal(pd.DataFrame(days, index=pair_ids), still, fit, materials)


def _log_survivor(fit: LifeFit, lives: Lives, of: np.ndarray, ahead: np.ndarray) -> np.ndarray:
    """Log chance of lasting until each day ahead, given all but that the sole is still on."""
    mean, sd, log_weight = life_mixtures(fit, lives, of)
    with np.errstate(divide="ignore"):
        log_weight = log_weight - log_ndtr((mean - np.log(lives.entry_days[of])[:, None]) / sd)
    log_weight -= logsumexp(log_weight, axis=1, keepdims=True)
    order = np.argsort(-log_weight, axis=1)
    mean, sd, log_weight = (np.take_along_axis(a, order, axis=1) for a in (mean, sd, log_weight))
    out = np.empty((len(of), len(ahead)))
    parts = (log_weight > _LEAST_LOG_WEIGHT).sum(axis=1)
    few = parts <= _FEW_PARTS
    for rows in (np.flatnonzero(few), np.flatnonzero(~few)):
        if len(rows):
            kept = np.ix_(rows, np.arange(parts[rows].max()))
            at, spread, weight = mean[kept], sd[kept], log_weight[kept]
            for place, days in enumerate(ahead):
                z = (at - np.log(lives.days[of[rows]] + days)[:, None]) / spread
                out[rows, place] = logsumexp(weight + log_ndtr(z), axis=1)
    return out


def _lives(
    log: WearLog, soles: pd.DataFrame, as_of: pd.Timestamp, materials: tuple[str, ...]
) -> tuple[Lives, np.ndarray, np.ndarray]:
    """Lives of all soles, the places of those on now, and their pairs.

    Nothing could be known of a sole before the first day on which anybody saw something: a job, a
    check or a wear.
    """
    ended = soles["removed_on"].notna().to_numpy()
    end = soles["removed_on"].fillna(as_of)
    days = np.maximum((end - soles["fitted_on"]).dt.days.to_numpy(float), 1.0)
    seen = [
        log.bench_jobs["received_on"].min(),
        log.checks["checked_on"].min(),
        log.wear_days["worn_on"].min(),
    ]
    first = min((day for day in seen if pd.notna(day)), default=soles["fitted_on"].min())
    entry = (first - soles["fitted_on"]).dt.days.to_numpy(float)
    owner = soles["pair_id"].map(log.pairs.set_index("pair_id")["wearer_id"])
    pair, _ = pd.factorize(soles["pair_id"])
    wearer, _ = pd.factorize(owner)
    design = np.column_stack(
        [np.ones(len(soles)), *[(soles["material"] == m).to_numpy(float) for m in materials[1:]]]
    )
    lives = Lives(
        days=days,
        ended=ended,
        entry_days=np.clip(entry, 0.0, days - 0.5),
        design=design,
        wearer=wearer,
        pair=pair,
    )
    last = ~soles["pair_id"].duplicated(keep="last").to_numpy()
    current = np.flatnonzero(last & ~ended)
    return lives, current, soles["pair_id"].to_numpy(object)[current]
