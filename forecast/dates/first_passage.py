"""First-passage draws (inverse Gaussian).

How many standard wear days remain until a foot reaches its limit, and on which day is that?

Wear is a random walk with drift in exposure. So the exposure that uses up a given thickness has the
inverse Gaussian distribution (first passage of Brownian motion with drift). It is drawn by the
transformation of Michael, Schucany and Haas (The American Statistician 30:88, 1976). All draws use
one fixed scrambled Sobol set, so the same data give the same dates. Draws are held in single
precision, good to seconds of a day: they are moved and sorted in half the time or less.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

from solespan.forecast.model.sole_state import SoleState

__all__ = ["DRAWS", "inverse_gaussian", "normal_points", "remaining_exposure"]

DRAWS = 512
_DIMENSIONS = 9  # four of the joint state, two for each foot's wear, one for use
_SEED = 20_260_101
# log rates that a sole can have (mm per standard wear day), and how far a draw lies off its mean
_LOG_RATES = -12.0, 2.0
_MOST_OFF = 12.0


@lru_cache(maxsize=4)
def normal_points(draws: int = DRAWS) -> np.ndarray:
    """Fixed quasi-random points, shape (9, draws): standard normal, but rows 6 and 7 uniform."""
    uniform = qmc.Sobol(_DIMENSIONS, scramble=True, rng=np.random.default_rng(_SEED)).random(draws)
    uniform = np.clip(uniform, 1e-9, 1 - 1e-9).T
    points = ndtri(uniform)
    points[6:8] = uniform[6:8]
    points.setflags(write=False)
    return np.asarray(points)


@lru_cache(maxsize=4)
def _pace_points(draws: int) -> np.ndarray:
    """Standard normal points for the pace of unlogged days, shape (draws,)."""
    rng = np.random.default_rng(_SEED + 1)
    uniform = qmc.Sobol(_DIMENSIONS + 1, scramble=True, rng=rng).random(draws)[:, -1]
    return np.asarray(ndtri(np.clip(uniform, 1e-9, 1 - 1e-9)), np.float32)


@lru_cache(maxsize=4)
def _single_points(draws: int) -> np.ndarray:
    return normal_points(draws).astype(np.float32)


def inverse_gaussian(
    mean: np.ndarray, shape: np.ndarray, normal: np.ndarray, uniform: np.ndarray
) -> np.ndarray:
    """Inverse Gaussian draws from a standard normal and a uniform (Michael et al., 1976).

    Parameters
    ----------
    mean, shape : ndarray
        Mean and shape of the distribution. For a walk with drift r and variance v per unit, first
        passage of h has mean h/r and shape h^2/v.
    normal, uniform : ndarray
    """
    ratio = mean / shape
    ratio *= 0.5 * np.square(normal)
    below = ratio + 2.0
    below *= ratio
    np.sqrt(below, out=below)
    below += ratio
    below += 1.0
    # the smaller root is mean / below, written so that it does not cancel; the larger mean * below
    small = uniform <= below / (below + 1.0)
    return np.asarray(mean * np.where(small, 1.0 / below, below))


def _skewed(state: SoleState, off: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """Log rates less their means, skewed to the left as far as they were learnt from wear."""
    out = np.asarray(np.square(off))
    out /= variance
    out -= 1.0
    out *= -state.skew[:, :, None]
    out += off
    return out


def _bend(
    state: SoleState, off: np.ndarray, factor: np.ndarray, variance: np.ndarray
) -> np.ndarray:
    """What the straight line through exp(log rate) leaves out of the wear so far, in mm.

    Mean zero; with little known of a rate it keeps slow draws from having grown above nominal.
    `factor` is exp of the skewed log rates less their means, of which `off` is the straight part.
    """
    skew = state.skew[:, :, None]
    kept = 1.0 + 2.0 * skew
    mean = np.exp(skew + 0.5 * variance / kept) / np.sqrt(kept)  # of the factor
    out = factor / -mean
    out += off
    out += 1.0
    out *= state.wear_mm[:, :, None]
    return np.asarray(out)


def remaining_exposure(
    state: SoleState, limit_mm: np.ndarray, process_mm: float, draws: int = DRAWS
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray | None]:
    """Standard wear days until each foot reaches its limit, for every draw.

    Parameters
    ----------
    state : SoleState
        Of n groups.
    limit_mm : ndarray, shape (2, n)
    process_mm : float
        Variance of wear per mm of expected wear.

    Returns
    -------
    remaining : ndarray of float32, shape (2, n, draws)
        Zero where the limit is passed already.
    rate_mm : ndarray of float32, shape (2, n, draws)
        Wear rate, mm per standard wear day.
    thickness_mm : ndarray of float32, shape (2, n, draws)
        Settled thickness today.
    log_pace : ndarray of float32, shape (n, draws), or None
        Log pace of unlogged days less its mean; None where all is logged.
    """
    points = _single_points(draws)
    single = state.single()
    off, thickness = (
        np.stack([single.factor[i, :4].T @ points[:4] for i in rows]) for rows in ((0, 2), (1, 3))
    )
    variance = np.square(single.factor[[0, 2]]).sum(axis=1)[:, :, None]
    thickness += single.mean[[1, 3], :, None]
    log_pace = None
    if len(single.mean) == 4:
        factor = np.exp(np.clip(_skewed(single, off, variance), -_MOST_OFF, _MOST_OFF))
        thickness += _bend(single, off, factor, variance)
    else:
        log_pace = single.factor[4].T @ np.concatenate([points[:4], _pace_points(draws)[None]])
        # wear so far is that of rate times pace
        both = off + single.unlogged[:, None] * log_pace
        loadings = single.factor[[0, 2]] + single.unlogged * single.factor[4]
        variance = np.square(loadings).sum(axis=1)[:, :, None]
        skewed = _skewed(single, both, variance)
        thickness += _bend(single, both, np.exp(np.clip(skewed, -_MOST_OFF, _MOST_OFF)), variance)
        factor = np.exp(np.clip(off + skewed - both, -_MOST_OFF, _MOST_OFF))
    factor *= np.exp(np.clip(single.mean[[0, 2], :, None], *_LOG_RATES))
    rate = factor
    left = thickness - limit_mm[:, :, None].astype(np.float32)
    ahead = np.maximum(left, np.float32(1e-9))
    pace = ahead / rate
    remaining = inverse_gaussian(
        pace, pace * ahead / float(process_mm), points[4:6, None], points[6:8, None]
    )
    remaining[left <= 0] = 0.0
    return remaining, rate, thickness, log_pace
