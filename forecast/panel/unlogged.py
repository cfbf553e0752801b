"""Unlogged wear: how much wear would habit put into the days that nobody logged?

A wearer who logs has silent stretches: before the log began, and gaps in it. There the pair's own
logged habit gives the wear, times a share that the model learns. A wearer who does not log is
silent throughout. Every day on which the pair could be worn counts at a fixed pace. The model
learns how far the pair's own pace lies from it. A pace that the owner states is a datum with an
error.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from solespan.forecast.panel.exposure import Exposure, Gaps, silent_days
from solespan.forecast.panel.log_arrays import LogArrays
from solespan.forecast.priors import UNLOGGED_WEAR_DAYS_PER_DAY

__all__ = ["told_paces", "with_unlogged"]

_LONG_GAP_DAYS = 180  # nobody is on holiday so long
_WHOLE = 2.0  # of the usual share, so that habit goes on: the log was left, not the shoes
_HABIT_DAYS = 30.0  # at which a pair's habit is taken half from its wearer's other pairs
_LEAST_KNOWN = 1.5  # extra weight of the share of a pair without any habit of its own
_NEW_LOG_DAYS = 90
_STATED_SD, _RACK_SD, _NEW_LOG_SD = 0.35, 0.60, 0.30  # log; common practice, no source
_LEAST_WEARS_PER_WEEK = 0.02


def with_unlogged(
    exposure: Exposure, log: LogArrays, target_sole: np.ndarray, target_day: np.ndarray
) -> Exposure:
    """Add the wear that habit would put into days that nobody logged.

    Parameters
    ----------
    exposure : Exposure
        Of logged days.
    target_sole, target_day : ndarray of int, shape (targets,)
        Sorted by sole and day.
    """
    soles = log.soles
    pair = soles.pair[target_sole]
    fitted = soles.fitted[target_sole]
    logs = log.logs[log.pair_wearer[pair]]
    silent = np.zeros(len(target_day))
    if not logs.all():
        open_days = target_day - fitted - _shop_days(log, pair, fitted, target_day)
        silent = np.where(logs, 0.0, np.maximum(open_days, 0.0) * UNLOGGED_WEAR_DAYS_PER_DAY)
    if logs.any() and len(log.gaps.wearer):
        gap_days, counted = _gap_days(log, pair, fitted, target_day)
        habit = _habits(exposure, log, target_sole, target_day - fitted - gap_days)
        silent = np.where(logs, counted * habit[pair], silent)
    return replace(exposure, silent=silent)


def told_paces(log: LogArrays) -> dict[str, np.ndarray]:
    """Stated paces of pairs, and the weight of a pair's own share of silent stretches.

    Returns
    -------
    dict
        `pace_log`, `pace_sd`, `gap_weight` and `pair_wears`, each of shape (pairs,).
    """
    n_pairs = len(log.pair_ids)
    many = np.bincount(log.day_pair, minlength=n_pairs).astype(float)
    weight = 1.0 + _LEAST_KNOWN / (1.0 + many)
    rack = np.bincount(log.pair_wearer, minlength=len(log.wearer_ids))[log.pair_wearer]
    tellings = [
        (log.stated_pair, np.full(n_pairs, _STATED_SD)),
        (log.stated_wearer[log.pair_wearer] / rack, np.full(n_pairs, _RACK_SD)),
    ]
    since = (log.today + 1 - log.first_logged)[log.pair_wearer]
    fresh = (since > 0) & (since <= _NEW_LOG_DAYS)
    seen = np.where(fresh, 7.0 * (many + 0.5) / (since + 3.5), np.nan)
    tellings.append((seen, np.sqrt(1.0 / (many + 0.5) + _NEW_LOG_SD**2)))
    precision, weighted = np.zeros(n_pairs), np.zeros(n_pairs)
    for wears_per_week, sd in tellings:
        told = ~np.isnan(wears_per_week) & ~log.logs[log.pair_wearer]
        at = np.log(np.maximum(np.where(told, wears_per_week, 1.0), _LEAST_WEARS_PER_WEEK))
        at -= np.log(7.0 * UNLOGGED_WEAR_DAYS_PER_DAY)
        precision += told / sd**2
        weighted += told * at / sd**2
    known = precision > 0
    scale = np.where(known, precision, 1.0)
    return {
        "pace_log": np.where(known, weighted / scale, np.nan),
        "pace_sd": np.where(known, 1.0 / np.sqrt(scale), np.nan),
        "gap_weight": weight,
        "pair_wears": many,
    }


def _shop_days(log: LogArrays, pair: np.ndarray, fitted: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Days at a shop since the sole was fitted, until each target."""
    jobs = log.jobs
    known = np.flatnonzero(jobs.pair >= 0)
    known = known[np.argsort(jobs.pair[known], kind="stable")]
    back = np.minimum(jobs.returned[known], log.today)
    return silent_days(Gaps(jobs.pair[known], jobs.received[known], back), pair, fitted, day)


def _gap_days(
    log: LogArrays, pair: np.ndarray, fitted: np.ndarray, day: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Silent days since the sole was fitted: all, and as many of them as habit counts."""
    gaps, wearer = log.gaps, log.pair_wearer[pair]
    whole = (gaps.end <= log.first_logged[gaps.wearer]) | (gaps.end - gaps.start > _LONG_GAP_DAYS)
    parts = [
        silent_days(Gaps(gaps.wearer[at], gaps.start[at], gaps.end[at]), wearer, fitted, day)
        for at in (whole, ~whole)
    ]
    return parts[0] + parts[1], _WHOLE * parts[0] + parts[1]


def _habits(
    exposure: Exposure, log: LogArrays, target_sole: np.ndarray, open_days: np.ndarray
) -> np.ndarray:
    """Logged standard wear days per open day of each pair, pooled with its wearer's."""
    last = np.r_[target_sole[1:] != target_sole[:-1], True]
    pair, n_pairs = log.soles.pair[target_sole[last]], len(log.pair_ids)
    worn = np.bincount(pair, exposure.base[last].sum(axis=1), n_pairs)
    days = np.bincount(pair, np.maximum(open_days[last], 0.0), n_pairs)
    of, n = log.pair_wearer, len(log.wearer_ids)
    mean = np.bincount(of, worn, n) / np.maximum(np.bincount(of, days, n), _HABIT_DAYS)
    return np.asarray((worn + _HABIT_DAYS * mean[of]) / (days + _HABIT_DAYS))
