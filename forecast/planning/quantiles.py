"""Quantiles of censored draws: which day is a quantile of draws that may lie beyond the horizon?"""

from __future__ import annotations

import numpy as np

__all__ = ["dates_of_days", "quantile_of_sorted"]


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


def dates_of_days(as_of_day: int, days: np.ndarray, horizon_days: int) -> np.ndarray:
    """Turn days after a day into dates; NaT beyond the horizon.

    Parameters
    ----------
    as_of_day : int
        Days since 1970-01-01.
    days : ndarray, shape (n,)
        Whole days; inf = beyond.
    """
    out = np.full(len(days), np.datetime64("NaT", "s"), dtype="datetime64[s]")
    inside = days <= horizon_days
    start = np.datetime64(as_of_day, "D")
    out[inside] = (start + days[inside].astype("timedelta64[D]")).astype("datetime64[s]")
    return out
