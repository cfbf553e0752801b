"""Wear curve: how thick is one path on any day, and how does that move with what is unknown?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from solespan.forecast.covariates import COVARIATES
from solespan.forecast.log import WearLog
from solespan.forecast.model.linearise import Noise, effective_exposure
from solespan.forecast.model.parameter_layout import INTERFACE, SILENT
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.panel.exposure import (
    count_exposure,
    day_rows,
    days_of,
    silent_days,
    silent_gaps,
)
from solespan.forecast.priors import PACKING_DAYS

__all__ = [
    "Curve",
    "Worn",
    "curve",
    "multipliers_of",
    "smoothed",
    "worn_by",
]

_FROM = len(INTERFACE) - len(COVARIATES)


@dataclass(frozen=True)
class Worn:
    """Exposure at n moments.

    `x` (n,) standard wear days, `slopes` (covariates, n) its derivatives by the log multipliers,
    `silent` (n,) wear days that habit would have put into silent gaps.
    """

    x: np.ndarray
    slopes: np.ndarray
    silent: np.ndarray


@dataclass(frozen=True)
class Curve:
    """Thickness at n moments at the modes, its derivatives (12, n), and the wear in mm."""

    thickness_mm: np.ndarray
    columns: np.ndarray
    wear_mm: np.ndarray


def worn_by(known: Conditioned, log: WearLog, sole: int, days: np.ndarray) -> Worn:
    """Exposure of one sole on the evening of some days.

    Parameters
    ----------
    log : WearLog
        The wearer's log that `known` was made from.
    days : ndarray of int, shape (n,)
        Sorted, no doubles, since 1970-01-01; the last is the sole's last day.
    """
    panel = known.panel
    pair = panel.sole_pair[sole]
    rows = log.wear_days[log.wear_days["pair_id"] == panel.pair_ids[pair]]
    of_pair = np.flatnonzero(panel.sole_pair == pair)
    day = days_of(rows["worn_on"])
    on = of_pair[np.maximum(np.searchsorted(panel.sole_fitted[of_pair], day, "right") - 1, 0)]
    own = (on == sole) & (day >= panel.sole_fitted[sole]) & (day <= days[-1])
    exposure = count_exposure(
        day_rows(rows[own]), np.zeros(int(own.sum()), int), np.zeros(len(days), int), days
    )
    x, slopes = effective_exposure(replace(panel, exposure=exposure), multipliers_of(known))
    return Worn(x, slopes, _silent(known, log, sole, days))


def multipliers_of(known: Conditioned) -> np.ndarray:
    """Log multipliers of exposure at the modes, in the order of `COVARIATES`."""
    return np.asarray((known.centre + known.deviation)[_FROM:, 0])


def _silent(known: Conditioned, log: WearLog, sole: int, days: np.ndarray) -> np.ndarray:
    """Unlogged wear by each day: the total at the sole's end, shared over the unlogged days."""
    panel = known.panel
    ends = panel.path_end[panel.path_sole == sole]
    total = panel.exposure.silent[ends[0]]
    if total <= 0.0:
        return np.zeros(len(days))
    if panel.unlogged[panel.sole_pair[sole]]:
        passed = days - panel.sole_fitted[sole]
        return np.asarray(total * passed / max(passed[-1], 1))
    wearer = panel.pair_wearer[panel.sole_pair[sole]]
    mine = set(panel.pair_ids[panel.pair_wearer == wearer])
    logged = days_of(log.wear_days.loc[log.wear_days["pair_id"].isin(mine), "worn_on"])
    of_wearer = panel.pair_wearer[panel.sole_pair] == wearer
    first = np.array([panel.sole_fitted[of_wearer].min()])
    gaps = silent_gaps(np.zeros(len(logged), int), logged, first, panel.as_of_day)
    fitted = np.full(len(days), panel.sole_fitted[sole])
    silent = silent_days(gaps, np.zeros(len(days), int), fitted, days)
    return np.asarray(total * silent / max(silent[-1], 1e-9))


def curve(known: Conditioned, path: int, worn: Worn) -> Curve:
    """Thickness of one path at some moments, and its derivatives, as the model lays its line."""
    value = (known.centre + known.deviation)[:, path]
    worn = _since_begin(known, path, worn)
    rate = np.exp(value[2]) * _lift(known, path)
    by_pace = bool(known.panel.unlogged_path[path])
    factor = float(np.exp(value[SILENT])) if by_pace else 1.0
    share = factor if by_pace else value[SILENT]
    wear = rate * np.maximum(worn.x + share * worn.silent, 0.0)
    columns = np.zeros((len(INTERFACE), len(worn.x)))
    columns[0] = 1.0
    columns[1] = -np.minimum(worn.x / PACKING_DAYS, 1.0)
    columns[2] = -wear
    columns[SILENT] = -rate * factor * worn.silent
    columns[_FROM:] = -rate * worn.slopes
    thickness = known.panel.nominal_mm[path] + value[0] + columns[1] * value[1] - wear
    return Curve(thickness, columns, wear)


def _since_begin(known: Conditioned, path: int, worn: Worn) -> Worn:
    """Exposure since the path began to wear: a heel's newest top piece is younger than the sole."""
    begin = known.panel.path_begin[path]
    if begin < 0:
        return worn
    x, slopes = effective_exposure(known.panel, multipliers_of(known))
    return Worn(
        np.maximum(worn.x - x[begin], 0.0),
        np.maximum(worn.slopes - slopes[:, [begin]], 0.0),
        np.maximum(worn.silent - known.panel.exposure.silent[begin], 0.0),
    )


def _lift(known: Conditioned, path: int) -> float:
    """How far the model's line through exp(log rate) is steeper than the rate at the mode."""
    value = (known.centre + known.deviation)[:, path]
    x_target, _ = effective_exposure(known.panel, multipliers_of(known))
    end = known.panel.path_end[path]
    begin = known.panel.path_begin[path]
    silent = known.panel.exposure.silent
    x, gap = float(x_target[end]), float(silent[end])
    if begin >= 0:
        x, gap = x - float(x_target[begin]), gap - float(silent[begin])
    by_pace = bool(known.panel.unlogged_path[path])
    share = float(np.exp(value[SILENT]) if by_pace else value[SILENT])
    worn = max(x + share * gap, 0.0)
    wear = float(np.exp(value[2])) * worn
    return float(known.lin.end_wear_mm[path]) / wear if wear > 0.0 else 1.0


def smoothed(
    known: Conditioned, noise: Noise, path: int, here: Curve
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Thickness of one path at some moments given all its checks, process noise included.

    Given the interface values, wear beyond its expectation is a random walk in expected wear, seen
    through the path's own checks; its mean is linear in the interface values.

    Returns
    -------
    mean_mm : ndarray, shape (n,)
    columns : ndarray, shape (12, n)
        How the thickness moves with the interface values, the walk following.
    variance_mm2 : ndarray, shape (n, n)
        Covariance of the walk that remains.
    """
    lin = known.lin
    at = np.flatnonzero(known.panel.obs_path == path)
    walk = noise.process_mm * np.minimum.outer(here.wear_mm, here.wear_mm)
    if not len(at):
        return here.thickness_mm, here.columns, walk
    between = noise.process_mm * np.minimum.outer(here.wear_mm, lin.wear_mm[at])
    among = noise.process_mm * np.minimum.outer(lin.wear_mm[at], lin.wear_mm[at])
    among[np.diag_indices_from(among)] += lin.variance_mm2[at]
    gain = np.linalg.solve(among, between.T).T
    mean = here.thickness_mm + gain @ lin.residual_mm[at]
    return mean, here.columns - lin.columns[:, at] @ gain.T, walk - gain @ between.T
