"""Outliers: how likely is each reading no misreading, given all else that is known of its path?

Readings are a mixture: most have the error of their gauge, a few are misreadings with an error of
their own. A reading is compared with what the others on its path say of it. Wear is a random walk,
so that comes from a filter along the path and a smoother back (de Jong, Biometrika 75:594, 1988).
A path that leaves its straight line for good is a walk. Only a reading that leaves its neighbours
is a likely misreading.
"""

from __future__ import annotations

import numpy as np

from solespan.forecast.panel.ranks import Ranks

__all__ = ["SLIP_SD_MM", "SLIP_SHARE", "good_weight", "left_out"]

SLIP_SHARE = 0.015
SLIP_SD_MM = 1.5
_LEAST = 1e-6


def good_weight(
    residual_mm: np.ndarray, variance_mm2: np.ndarray, walk_mm2: np.ndarray, share: float
) -> np.ndarray:
    """Chance that a reading is no misreading.

    Parameters
    ----------
    residual_mm : ndarray, shape (n,)
        Reading less what the others on its path say of it.
    variance_mm2, walk_mm2 : ndarray, shape (n,)
        Error variance of a good reading, and of what the others say.
    share : float
        Of misreadings among readings.
    """
    if share <= 0.0:
        return np.ones(len(residual_mm))
    square = np.square(residual_mm)
    good_var, slip_var = variance_mm2 + walk_mm2, SLIP_SD_MM**2 + walk_mm2
    log_odds = np.log(share / (1.0 - share)) + 0.5 * (np.log(good_var) - np.log(slip_var))
    log_odds += 0.5 * square * (1.0 / good_var - 1.0 / slip_var)
    return np.asarray(np.maximum(1.0 / (1.0 + np.exp(np.minimum(log_odds, 50.0))), _LEAST))


def left_out(
    residual_mm: np.ndarray,
    wear_mm: np.ndarray,
    variance_mm2: np.ndarray,
    ranks: Ranks,
    process_mm: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Hold each row against what the other rows of its path say of the walk.

    Parameters
    ----------
    residual_mm, wear_mm, variance_mm2 : ndarray, shape (observations,)
        Residual from the path's expected wear, that wear, and the error variance.
    ranks : Ranks
    process_mm : float
        Variance of wear per mm of expected wear.

    Returns
    -------
    off_mm, walk_mm2 : ndarray, shape (observations,)
        Residual less the walk that the others tell, and how uncertain that walk is.
    """
    order, many = ranks.order, ranks.many
    z, wear, variance = residual_mm[order], wear_mm[order], variance_mm2[order]
    gain, scaled, precision = np.empty_like(z), np.empty_like(z), np.empty_like(z)
    n_paths = len(ranks.front)
    level, spread, seen = np.zeros(n_paths), np.zeros(n_paths), np.zeros(n_paths)
    begins = np.cumsum([0, *many])
    for begin, m in zip(begins, many, strict=False):
        at = slice(begin, begin + m)
        spread[:m] += process_mm * np.maximum(wear[at] - seen[:m], 0.0)
        np.maximum(seen[:m], wear[at], out=seen[:m])
        precision[at] = 1.0 / (spread[:m] + variance[at])
        gain[at] = spread[:m] * precision[at]
        gap = z[at] - level[:m]
        scaled[at] = gap * precision[at]
        level[:m] += gain[at] * gap
        spread[:m] *= 1.0 - gain[at]
    later, certain = np.zeros(n_paths), np.zeros(n_paths)
    told, weight = np.empty_like(z), np.empty_like(z)
    for begin, m in zip(begins[: len(many)][::-1], many[::-1], strict=True):
        at = slice(begin, begin + m)
        told[at] = scaled[at] - gain[at] * later[:m]
        weight[at] = precision[at] + np.square(gain[at]) * certain[:m]
        later[:m] = scaled[at] + (1.0 - gain[at]) * later[:m]
        certain[:m] = precision[at] + np.square(1.0 - gain[at]) * certain[:m]
    off, walk = np.empty_like(z), np.empty_like(z)
    off[order] = told / weight
    walk[order] = np.maximum(1.0 / weight - variance, 0.0)
    return off, walk
