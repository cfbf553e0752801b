"""Quantiles of censored draws: which day is a quantile of draws that may lie beyond the horizon?"""

from __future__ import annotations

import numpy as np

__all__ = ["quantile_of_sorted"]


def quantile_of_sorted(ordered: np.ndarray, share: float) -> np.ndarray:
    """Quantile by linear interpolation (Hazen's rule) along the last axis; inf stays inf.

    Parameters
    ----------
    ordered : ndarray, shape (..., draws)
        Sorted along the last axis; inf = beyond the horizon.
    share : float
        Between 0 and 1.
    """
    draws = ordered.shape[-1]
    place = share * draws - 0.5
    low = min(max(int(np.floor(place)), 0), draws - 1)
    high = min(low + 1, draws - 1)
    a, b = ordered[..., low], ordered[..., high]
    weight = place - low
    with np.errstate(invalid="ignore"):
        between = a + weight * (b - a)
    nearest = np.where(np.isfinite(a) & (weight < 0.5), a, np.inf)
    return np.where(np.isfinite(b), between, nearest)
