"""Proper scores and calibration.

How good and how honest were forecasts, seen against what happened?
"""

from __future__ import annotations

import numpy as np

__all__ = ["crps_sample", "inside"]


def crps_sample(draws: np.ndarray, actual: np.ndarray) -> np.ndarray:
    r"""Continuous ranked probability score of samples.

    CRPS = E|X - y| - E|X - X'|/2, computed from the sorted sample (Gneiting and Raftery, JASA
    102:359, 2007, equation 21). Smaller is better; for one draw it is the absolute error.

    Parameters
    ----------
    draws : ndarray, shape (n, draws)
        Finite samples of each forecast, in days.
    actual : ndarray, shape (n,)
        What happened, in days.

    Returns
    -------
    ndarray, shape (n,)
        Days.
    """
    ordered = np.sort(draws, axis=-1)
    m = ordered.shape[-1]
    weight = 2.0 * np.arange(1, m + 1) - m - 1.0
    spread = (ordered @ weight) / m**2
    return np.asarray(np.abs(ordered - actual[:, None]).mean(axis=-1) - spread)


def inside(draws: np.ndarray, actual: np.ndarray, share: float) -> np.ndarray:
    """Whether the central interval of so much probability holds what happened, shape (n,)."""
    low, high = np.quantile(draws, [(1 - share) / 2, (1 + share) / 2], axis=-1)
    return np.asarray((actual >= low) & (actual <= high))
