"""Censoring: how do outcomes that are known only in part add up to a share and a score?

A pair handed over early, or still on, is censored on the last day on which it was above its limit.
A pair found past its limit was due within a stretch, and every day of it is as likely. Shares come
from the product-limit estimate (Kaplan and Meier, Journal of the American Statistical Association
53:457, 1958), made by statsmodels. Scores weigh what is known by the inverse chance of being known
(Graf, Schmoor, Sauerbrei and Schumacher, Statistics in Medicine 18:2529, 1999). So each forecast of
a day counts up to one same day, whatever happened to its pair. Both are named from memory.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

__all__ = ["censored_crps", "chance_known", "has_event", "share_due"]

_POINTS = 8  # of a stretch within which a pair was due
_NODES = 64  # days on which a score is taken
_LEAST_KNOWN = 0.1  # a weight is never more than ten


def has_event(rows: pd.DataFrame) -> np.ndarray:
    """Whether each outcome says that the pair was due, at some time."""
    return rows["kind"].isin(["seen", "resoled"]).to_numpy(bool)


def _stretch(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """First and last day on which each was due, or, without an event, last day above twice."""
    days = rows["days"].to_numpy(float)
    above = rows["above_until_days"].to_numpy(float)
    seen = (rows["kind"] == "seen").to_numpy(bool)
    event = has_event(rows)
    low = np.where(seen | ~event, above, days)
    return low, np.where(seen, 2.0 * days - above, low)


def share_due(rows: pd.DataFrame, within_days: np.ndarray) -> tuple[float, int]:
    """Estimate the share of pairs due within so many days, each its own number of days.

    Parameters
    ----------
    rows : DataFrame
        kind, days, above_until_days as `forecast.backtesting.outcomes` gives them; none `already`.
    within_days : ndarray, shape (rows,)
        Above 0.

    Returns
    -------
    share, count
        NaN where no pair was followed so far. The count is of pairs of which anything is known.
    """
    from statsmodels.duration.survfunc import SurvfuncRight  # noqa: PLC0415

    low, high = _stretch(rows)
    event = has_event(rows)
    known = event | (low > 0.0)
    low, high, event = (x[known] for x in (low, high, event))
    if not known.any():
        return np.nan, 0
    at = (np.arange(_POINTS) + 0.5) / _POINTS
    time = (low[:, None] + at * (high - low)[:, None]) / within_days[known][:, None]
    time = np.maximum(time, 1e-9)
    status = np.repeat(event, _POINTS)
    found = SurvfuncRight(time.ravel(), status, freq_weights=np.full(status.size, 1.0 / _POINTS))
    before = found.surv_times <= 1.0
    alive = float(found.surv_prob[before][-1]) if before.any() else 1.0
    followed = bool((time.ravel() >= 1.0).any()) or alive < 1e-9
    return (1.0 - alive if followed else np.nan), int(known.sum())


def chance_known(rows: pd.DataFrame, cut_days: float) -> tuple[np.ndarray, np.ndarray]:
    """Chance that an outcome is not censored by a day: the days on which it falls, and it there."""
    from statsmodels.duration.survfunc import SurvfuncRight  # noqa: PLC0415

    low, high = _stretch(rows)
    event = has_event(rows)
    known = event | (low > 0.0)
    if cut_days <= 0.0 or not known.any():
        return np.zeros(0), np.zeros(0)
    time = np.minimum(0.5 * (low + high), cut_days)[known]
    censored = (~event & (low < cut_days))[known]
    found = SurvfuncRight(time, censored)
    return np.asarray(found.surv_times), np.maximum(np.asarray(found.surv_prob), _LEAST_KNOWN)


def censored_crps(
    draws: np.ndarray,
    rows: pd.DataFrame,
    cut_days: float,
    known: tuple[np.ndarray, np.ndarray],
) -> np.ndarray:
    """Continuous ranked probability score up to a day, of outcomes known in part, in days.

    Parameters
    ----------
    draws : ndarray, shape (rows, draws)
        Days until due.
    rows : DataFrame
        Outcomes.
    cut_days : float
        The same for every forecast of a day.
    known : pair of ndarray
        Of `chance_known`.

    Returns
    -------
    ndarray, shape (rows,)
        NaN of a pair of which nothing is known.
    """
    low, high = _stretch(rows)
    event = has_event(rows)
    told = (event | (low > 0.0)) & (rows["kind"] != "already").to_numpy(bool) & (cut_days > 0.0)
    steps, chance = known
    value = np.concatenate([[1.0], chance])

    def weight(day: np.ndarray) -> np.ndarray:
        return np.asarray(1.0 / value[np.searchsorted(steps, day, side="left")])

    middle = 0.5 * (low + high)
    total = np.zeros(len(rows))
    for day in cut_days * (np.arange(_NODES) + 0.5) / _NODES:
        said = (draws <= day).mean(axis=1)
        width = np.maximum(high - low, 1e-9)
        due = np.where(event, np.clip((day - low) / width, 0.0, 1.0), 0.0)
        counts = event | (day <= low)
        total += np.where(counts, weight(np.minimum(middle, day)) * (said - due) ** 2, 0.0)
    return np.where(told, total * cut_days / _NODES, np.nan)
