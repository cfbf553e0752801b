"""How much was each sole worn by a given day, in standard wear days and by kind of day?

Counts are kept by cell of the flag covariates, so that the multipliers can be learnt later without
touching the wear days again. A silent gap is a stretch in which a wearer logged nothing at all for
much longer than usual: wear in it is unknown and is offered to the model as its own quantity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.covariates import base_exposure, cells

__all__ = ["SILENT_DAYS_AT_LEAST", "Exposure", "count_exposure", "days_of", "silent_gaps"]

SILENT_DAYS_AT_LEAST = 28
SILENT_TIMES_USUAL = 8.0
_SHIFT = 1 << 20  # more days than any calendar here


def days_of(dates: pd.Series) -> np.ndarray:
    """Calendar days as integers since 1970-01-01; missing dates become a day beyond all."""
    values = dates.to_numpy().astype("datetime64[D]")
    out = values.astype(np.int64)
    return np.where(np.isnat(values), _SHIFT - 1, out)


@dataclass(frozen=True)
class Exposure:
    """Cumulative exposure of soles at target days.

    base : ndarray, shape (targets, cells)
        Standard wear days before multipliers, by cell, since the sole was fitted.
    driving : ndarray, shape (targets, cells)
        The same times the hours at the wheel on that day.
    silent : ndarray, shape (targets,)
        Wear days that the pair's habit would have put into silent gaps.
    flags : ndarray, shape (cells, flags)
        Which flags are raised in each cell.
    """

    base: np.ndarray
    driving: np.ndarray
    silent: np.ndarray
    flags: np.ndarray


def silent_gaps(wearer: np.ndarray, day: np.ndarray, first: np.ndarray, last: int) -> pd.DataFrame:
    """Stretches in which a wearer logged nothing for much longer than is usual for them.

    Parameters
    ----------
    wearer, day : ndarray of int, shape (logged days,)
        Who wore any pair, and when.
    first : ndarray of int, shape (wearers,)
        Day on which each wearer's first sole here was fitted.
    last : int
        The day of the forecast.

    Returns
    -------
    DataFrame
        wearer, start_day, end_day (both exclusive of logged days).
    """
    log = np.unique(wearer * _SHIFT + day)
    who, when = log // _SHIFT, log % _SHIFT
    count = np.bincount(who, minlength=len(first))
    usual = np.ones(len(first))
    same = who[1:] == who[:-1] if len(who) else np.zeros(0, bool)
    steps = np.diff(when)
    if same.any():
        frame = pd.DataFrame({"who": who[1:][same], "step": steps[same]})
        median = frame.groupby("who")["step"].median()
        usual[median.index.to_numpy()] = median.to_numpy()
    limit = np.maximum(SILENT_DAYS_AT_LEAST, SILENT_TIMES_USUAL * usual)
    edge_who = np.arange(len(first))[count > 0]
    order = np.argsort(
        np.concatenate([log, edge_who * _SHIFT + first[edge_who], edge_who * _SHIFT + last]),
        kind="stable",
    )
    every = np.concatenate([log, edge_who * _SHIFT + first[edge_who], edge_who * _SHIFT + last])[
        order
    ]
    who, when = every // _SHIFT, every % _SHIFT
    long = (who[1:] == who[:-1]) & (np.diff(when) > limit[who[1:]])
    return pd.DataFrame(
        {"wearer": who[:-1][long], "start_day": when[:-1][long], "end_day": when[1:][long]}
    )


def count_exposure(
    days: pd.DataFrame,
    day_sole: np.ndarray,
    target_sole: np.ndarray,
    target_day: np.ndarray,
) -> tuple[Exposure, np.ndarray]:
    """Add up wear days per sole until each target day.

    Parameters
    ----------
    days : DataFrame
        Rows of `wear_days`.
    day_sole : ndarray of int, shape (rows,)
        Sole worn on each row (-1: none, ignored).
    target_sole, target_day : ndarray of int, shape (targets,)
        Sorted by sole and day, no doubles; the last target of each sole covers all its days.

    Returns
    -------
    Exposure
        Cumulative by target (`silent` zero; see `silent_exposure`).
    habit : ndarray, shape (targets,)
        Number of wear days logged until the target.
    """
    keep = day_sole >= 0
    cell, flags = cells(days)
    base = base_exposure(days)
    hours_driven = np.nan_to_num(days["driving_minutes"].to_numpy(float)) / 60.0
    day = days_of(days["worn_on"])
    target_key = target_sole * _SHIFT + target_day
    place = np.searchsorted(target_key, (day_sole * _SHIFT + day)[keep], side="left")
    place = np.minimum(place, len(target_key) - 1)
    n_targets, n_cells = len(target_key), len(flags)
    slot = place * n_cells + cell[keep]

    def total(weights: np.ndarray) -> np.ndarray:
        sums = np.bincount(slot, weights=weights, minlength=n_targets * n_cells)
        return _cumulate(sums.reshape(n_targets, n_cells), target_sole)

    used = np.bincount(cell[keep], minlength=n_cells) > 0
    used[0] = True
    exposure = Exposure(
        base=total(base[keep])[:, used],
        driving=total(base[keep] * hours_driven[keep])[:, used],
        silent=np.zeros(n_targets),
        flags=flags[used],
    )
    logged = np.bincount(place, minlength=n_targets).astype(float)
    return exposure, _cumulate(logged[:, None], target_sole)[:, 0]


def _cumulate(sums: np.ndarray, sole: np.ndarray) -> np.ndarray:
    """Cumulative sums that start again with every sole."""
    if not len(sums):
        return sums
    running = np.cumsum(sums, axis=0)
    first = np.r_[True, sole[1:] != sole[:-1]]
    start = np.flatnonzero(first)
    before = np.zeros((len(start), sums.shape[1]))
    before[1:] = running[start[1:] - 1]
    return np.asarray(running - before[np.cumsum(first) - 1])


def silent_exposure(
    gaps: pd.DataFrame,
    targets: pd.DataFrame,
) -> np.ndarray:
    """Wear days that habit would have put into silent gaps, until each target.

    Parameters
    ----------
    gaps : DataFrame
        wearer, start_day, end_day.
    targets : DataFrame
        wearer, fitted_day, day, pace_per_day (standard wear days per day outside gaps), one row a
        target, index 0..n-1.

    Returns
    -------
    ndarray, shape (targets,)
        Standard wear days.
    """
    if gaps.empty:
        return np.zeros(len(targets))
    both = targets.reset_index(names="target").merge(gaps, on="wearer")
    begin = both[["start_day", "fitted_day"]].max(axis=1).to_numpy()
    overlap = np.maximum(both[["end_day", "day"]].min(axis=1).to_numpy() - begin, 0)
    weights = overlap * both["pace_per_day"].to_numpy()
    return np.bincount(both["target"].to_numpy(), weights=weights, minlength=len(targets))
