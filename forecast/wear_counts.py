"""How often was each pair worn in each four weeks, and when could it have been worn at all?

Turns a log into the `WearCounts` that `forecast.usage` learns from. A pair could be worn while a
sole was on it, it was not at a shop, and its wearer was logging.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecast.covariates import FLAGS, base_exposure, cells
from forecast.exposure import days_of, silent_gaps
from forecast.frames import DRESS_CODES
from forecast.log import WearLog
from forecast.panel import Panel
from forecast.usage import PERIOD_DAYS, WearCounts

__all__ = ["PERIODS", "wear_counts"]

PERIODS = 39  # three years
_SHIFT = 1 << 20


def wear_counts(log: WearLog, panel: Panel, log_multipliers: np.ndarray) -> WearCounts:
    """Count wear by period, newest first, ending on the panel's day.

    Parameters
    ----------
    log : WearLog
        The log that `panel` was built from.
    panel : Panel
    log_multipliers : ndarray, shape (len(COVARIATES),)
        Of exposure, in the order of `forecast.covariates.COVARIATES`.
    """
    today = panel.as_of_day
    pair_index = pd.Index(panel.pair_ids)
    pair = pair_index.get_indexer(pd.Index(log.wear_days["pair_id"].astype(object)))
    day = days_of(log.wear_days["worn_on"])
    keep = (pair >= 0) & (day <= today)
    rows = log.wear_days[keep]
    pair, day = pair[keep], day[keep]
    worn = _exposure(rows, log_multipliers)
    n = len(panel.pair_ids)
    period = (today - day) // PERIOD_DAYS
    recent = period < PERIODS
    slot = pair[recent] * PERIODS + period[recent]
    codes = log.pairs.set_index("pair_id")["dress_code"].reindex(panel.pair_ids)
    group = pd.Index(DRESS_CODES).get_indexer(pd.Index(codes.astype(object))) + 1
    middle = today - (np.arange(PERIODS) + 0.5) * PERIOD_DAYS
    return WearCounts(
        worn=np.bincount(slot, worn[recent], n * PERIODS).reshape(n, PERIODS),
        days=np.bincount(slot, minlength=n * PERIODS).reshape(n, PERIODS).astype(float),
        open_days=_open_days(log, panel, pair, day),
        group=group,
        wearer=panel.pair_wearer,
        year_share=(middle / 365.25) % 1.0,
    )


def _exposure(rows: pd.DataFrame, log_multipliers: np.ndarray) -> np.ndarray:
    cell, flags = cells(rows)
    driven = np.nan_to_num(rows["driving_minutes"].to_numpy(float)) / 60.0
    scale = np.exp(flags @ log_multipliers[: len(FLAGS)])[cell]
    return np.asarray(base_exposure(rows) * scale * (1.0 + log_multipliers[-1] * driven))


def _open_days(log: WearLog, panel: Panel, pair: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Days per pair and period on which the pair could have been worn and was being logged."""
    today = panel.as_of_day
    wearer = panel.pair_wearer[pair]
    n_wearers = len(panel.wearer_ids)
    first = np.full(n_wearers, _SHIFT)
    np.minimum.at(first, panel.pair_wearer[panel.sole_pair], panel.sole_fitted)
    begun = np.full(n_wearers, today)
    np.minimum.at(begun, wearer, day)
    end = panel.target_day[np.r_[panel.target_sole[1:] != panel.target_sole[:-1], True]]
    sole_wearer = panel.pair_wearer[panel.sole_pair]
    start = np.maximum(panel.sole_fitted, begun[sole_wearer])
    out = _overlap(panel.sole_pair, start, end, panel)
    gaps = silent_gaps(wearer, day, first, today)
    if len(gaps):
        soles = pd.DataFrame(
            {"wearer": sole_wearer, "pair": panel.sole_pair, "start": start, "end": end}
        ).merge(gaps, on="wearer")
        lost = soles[["start", "start_day"]].max(axis=1).to_numpy()
        until = soles[["end", "end_day"]].min(axis=1).to_numpy()
        out -= _overlap(soles["pair"].to_numpy(), lost, until, panel)
    jobs = log.bench_jobs
    at = pd.Index(panel.pair_ids).get_indexer(pd.Index(jobs["pair_id"].astype(object)))
    received, back = days_of(jobs["received_on"]), days_of(jobs["returned_on"])
    known = (at >= 0) & (received <= today)
    out -= _overlap(at[known], received[known], np.minimum(back[known], today), panel)
    return np.asarray(np.maximum(out, 0.0))


def _overlap(pair: np.ndarray, start: np.ndarray, end: np.ndarray, panel: Panel) -> np.ndarray:
    """Days of intervals [start, end] that fall into each period, shape (pairs, PERIODS)."""
    newest = panel.as_of_day - np.arange(PERIODS) * PERIOD_DAYS
    oldest = newest - PERIOD_DAYS
    out = np.zeros((len(panel.pair_ids), PERIODS))
    days = np.minimum(end[:, None], newest) - np.maximum(start[:, None], oldest)
    np.add.at(out, pair, np.clip(days, 0, None))
    return out
