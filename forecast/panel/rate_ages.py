"""Rate ages: how much of a sole's wear lies how far back, and how fast was it worn then?

The log rate of a wearer or pair may wander (a random walk in calendar time) about a trend. It is
taken as constant within stretches that are shorter the nearer they are to the day of the forecast.
The model's log rate is that of the last stretch, so that its uncertainty is that of today's rate.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from solespan.forecast.panel.exposure import SHIFT, DayRows
from solespan.forecast.panel.panel import Panel

__all__ = [
    "EDGES_DAYS",
    "STEPS",
    "STEP_YEARS",
    "aged",
    "moved_exposure",
    "older_shares",
    "with_moving_rates",
]

EDGES_DAYS = (60, 150, 300, 600)  # from the day of the forecast back to where the rate may change
_MIDDLES = np.array([30.0, 105.0, 225.0, 450.0, 900.0])
STEPS = len(EDGES_DAYS)
STEP_YEARS = np.diff(_MIDDLES) / 365.0  # from the middle of each stretch to that of the one before


def older_shares(
    days: DayRows, day_sole: np.ndarray, target_sole: np.ndarray, target_day: np.ndarray, today: int
) -> np.ndarray:
    """Share of the exposure of soles by target days that is older than each edge.

    Parameters
    ----------
    days : DayRows
    day_sole : ndarray of int, shape (rows,)
        Sole worn on each row (-1: none, ignored).
    target_sole, target_day : ndarray of int, shape (targets,)
        Sorted by sole and day, no doubles.
    today : int
        The day of the forecast.

    Returns
    -------
    ndarray, shape (targets, STEPS)
    """
    on = day_sole >= 0
    key, base = day_sole[on] * SHIFT + days.day[on], days.base[on]
    order = np.argsort(key, kind="stable")
    key, running = key[order], np.concatenate([[0.0], np.cumsum(base[order])])

    def worn_by(day: np.ndarray | int) -> np.ndarray:
        at = np.searchsorted(key, target_sole * SHIFT + day, side="right")
        return np.asarray(running[at] - running[np.searchsorted(key, target_sole * SHIFT)])

    whole = worn_by(target_day)
    older = [worn_by(np.minimum(target_day, today - edge)) for edge in EDGES_DAYS]
    return np.asarray(np.stack(older, axis=1) / np.maximum(whole, 1e-9)[:, None])


def moved_exposure(
    x: np.ndarray, older: np.ndarray, steps: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Exposure counted at today's rate less as it was, its slopes by the steps, and the factor."""
    factor, slopes = aged(older, steps)
    return x * (factor - 1.0), x * slopes, factor


def with_moving_rates(panel: Panel) -> Panel:
    """Return the panel with rates that may wander, of all wearers who log."""
    return replace(panel, moving=1.0 - panel.unlogged)


def aged(older: np.ndarray, steps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean rate of past wear over today's rate, and how it moves with the steps back.

    Parameters
    ----------
    older : ndarray, shape (n, STEPS)
        `older_shares`.
    steps : ndarray, shape (STEPS + 1, n)
        Log rate of each stretch less that of the one after it and, last, the trend in a year.

    Returns
    -------
    factor : ndarray, shape (n,)
    slopes : ndarray, shape (STEPS + 1, n)
        Derivatives of the factor.
    """
    level = np.exp(np.cumsum(steps[:-1] - STEP_YEARS[:, None] * steps[-1], axis=0))
    share = older.T.copy()
    share[:-1] -= share[1:]
    slopes = np.cumsum((share * level)[::-1], axis=0)[::-1]
    factor = 1.0 - older[:, 0] + slopes[0]
    return factor, np.concatenate([slopes, -(STEP_YEARS @ slopes)[None]])
