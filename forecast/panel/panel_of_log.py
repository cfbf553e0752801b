"""Panel construction.

How does a log become a panel: which paths, which observation on which, at what exposure?
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.frames import GRADES, MATERIALS, METHODS, WEARING_POINTS
from solespan.forecast.layers.limits import default_limits_mm, lug_limit_mm
from solespan.forecast.log import WearLog
from solespan.forecast.panel.exposure import NEVER, SHIFT, count_exposure, sorted_once
from solespan.forecast.panel.log_arrays import Checks, LogArrays, log_arrays
from solespan.forecast.panel.panel import GAUGES, HOLE, KNOWN_SINCE, SENT, STILL_ON, THUMB, Panel
from solespan.forecast.panel.rate_ages import older_shares
from solespan.forecast.panel.unlogged import told_paces, with_unlogged

__all__ = ["build_panel", "panel_of"]

_BALL, _HEEL, _HOLE_GRADE = 0, WEARING_POINTS.index("heel"), GRADES.index("hole")
_TOE = WEARING_POINTS.index("toe")
_WAIST, _LUG = -1, MATERIALS.index("lug_rubber")
# A waist reading further from a half sole's thickness when new is of the old waist; no source.
_HALF_SOLE_REACH_MM = 1.0
_TRUNCATION_DAYS = 30  # a sole older than the records by less needs no care
_GAUGE_OF_METHOD = np.array([GAUGES.index(m) if m in GAUGES else -1 for m in METHODS])


def build_panel(log: WearLog, as_of: pd.Timestamp) -> Panel:
    """Turn a log into arrays, using nothing later than `as_of`.

    Raises
    ------
    TooLittleData
        No sole was fitted by `as_of`.
    """
    return panel_of(log_arrays(log, as_of))


def panel_of(log: LogArrays, records_begin: int | None = None) -> Panel:
    """Lay a log's arrays out as paths and observations.

    `records_begin` is the day of the first record of the whole log that this one is a part of.
    """
    soles, today, checks = log.soles, log.today, log.checks
    sole_end = np.minimum(soles.end, today)
    every = np.arange(len(soles.ids))
    check_sole = soles.on(checks.pair, checks.day)
    if (check_sole < 0).any():
        keep = check_sole >= 0
        checks = Checks(*(getattr(checks, name)[keep] for name in vars(checks)))
        check_sole = check_sole[keep]
    # a plate takes the wear of the toe
    plated = soles.plated[check_sole] & (checks.point == _TOE)
    if plated.any():
        checks = Checks(*(getattr(checks, name)[~plated] for name in vars(checks)))
        check_sole = check_sole[~plated]
    renewed = _top_pieces(log)
    at = np.flatnonzero(renewed >= 0)
    seen = check_sole * SHIFT + checks.day
    begun = log.records_begin if records_begin is None else records_begin
    old = _older_than_records(log, begun)
    since = np.full(len(old), begun)
    entry = old * SHIFT + since
    ends = every * SHIFT + sole_end
    key = sorted_once(np.concatenate([seen, ends, at * SHIFT + renewed[at], entry]))
    target_sole, target_day = key // SHIFT, key % SHIFT
    last = np.r_[target_sole[1:] != target_sole[:-1], True]
    target_day[last] = np.maximum(target_day[last], sole_end[target_sole[last]])
    end_target = np.flatnonzero(last)
    worn_sole = soles.on(log.day_pair, log.days.day)
    worn_sole[~log.logs[log.pair_wearer[log.day_pair]]] = -1
    exposure = count_exposure(log.days, worn_sole, target_sole, target_day)
    exposure = with_unlogged(exposure, log, target_sole, target_day)

    path_sole, path_foot, path_point = _paths(len(every), check_sole, checks.point)
    own = soles.limit_mm[path_sole]
    default = default_limits_mm(
        soles.material[path_sole],
        path_point,
        soles.nominal_mm[path_sole],
        soles.guard[path_sole],
        soles.light[path_sole],
        midsole=soles.midsole[path_sole],
        heel_mm=soles.heel_mm[path_sole],
    )
    base = _lug_bases_mm(log, checks, check_sole)[path_sole]
    lugs = ~np.isnan(base) & (path_point != _HEEL)
    default = np.where(lugs, lug_limit_mm(base, soles.nominal_mm[path_sole]), default)
    limit = np.where(np.isnan(own) | (path_point != _BALL), default, own)
    heel_limit = soles.heel_limit_mm[path_sole]
    limit = np.where((path_point == _HEEL) & ~np.isnan(heel_limit), heel_limit, limit)
    since = renewed[path_sole]
    wearer = log.pair_wearer[soles.pair[path_sole]]
    obs = _observations(
        log, checks, check_sole, renewed, np.searchsorted(key, seen), end_target,
        (path_sole * 2 + path_foot) * 4 + path_point, old, np.searchsorted(key, entry),
    )  # fmt: skip
    return Panel(
        wearer_ids=log.wearer_ids,
        pair_ids=log.pair_ids,
        pair_wearer=log.pair_wearer,
        pair_group=log.pair_group,
        unlogged=~log.logs[log.pair_wearer],
        **told_paces(log),
        pair_contact=_last_seen(log)[log.pair_wearer],
        pair_said=log.in_use,
        moving=np.zeros(len(log.pair_ids)),
        sole_ids=soles.ids,
        sole_pair=soles.pair,
        sole_fitted=soles.fitted,
        path_pair=soles.pair[path_sole],
        path_sole=path_sole,
        path_foot=path_foot,
        path_point=path_point,
        path_end=end_target[path_sole],
        path_begin=np.where(
            (path_point == _HEEL) & (since >= 0),
            np.searchsorted(key, path_sole * SHIFT + since),
            -1,
        ),
        current=soles.current[path_sole],
        nominal_mm=np.where(
            path_point == _HEEL, soles.heel_mm[path_sole], soles.nominal_mm[path_sole]
        ),
        limit_mm=limit,
        material=soles.material[path_sole],
        assumed=soles.assumed[path_sole],
        drives=(log.driving_foot[wearer] == path_foot).astype(float),
        target_sole=target_sole,
        target_day=target_day,
        target_older=older_shares(log.days, worn_sole, target_sole, target_day, today),
        exposure=exposure,
        as_of_day=today,
        **obs,
    )


def _last_seen(log: LogArrays) -> np.ndarray:
    """Last day on which each wearer was seen, or logged, shape (wearers,)."""
    out = np.zeros(len(log.wearer_ids), np.int64)
    soles, jobs, checks = log.soles, log.jobs, log.checks
    ended = soles.end <= log.today
    for pair, day in (
        (soles.pair, soles.fitted),
        (soles.pair[ended], soles.end[ended]),
        (checks.pair, checks.day),
        (jobs.pair, jobs.received),
        (jobs.pair, np.where(jobs.returned < NEVER, jobs.returned, 0)),
        (log.day_pair, log.days.day),
        (np.arange(len(log.pair_ids)), log.in_use),
    ):
        known = pair >= 0
        np.maximum.at(out, log.pair_wearer[pair[known]], day[known])
    return out


def _older_than_records(log: LogArrays, begun: int) -> np.ndarray:
    """Soles that were on before the shop's records began.

    Had such a sole come off earlier, nobody would have written it down (left truncation). Only of
    wearers who do not log: who logs tells of the wear itself.
    """
    soles = log.soles
    silent = ~log.logs[log.pair_wearer[soles.pair]]
    old = silent & (soles.fitted < begun - _TRUNCATION_DAYS)
    old &= np.minimum(soles.end, log.today) > begun + _TRUNCATION_DAYS
    return np.flatnonzero(old)


def _advised(log: LogArrays) -> np.ndarray:
    """Whether each sole came off in a job that our own advice led to."""
    jobs, soles = log.jobs, log.soles
    came = np.flatnonzero(jobs.advised & (jobs.pair >= 0))
    out = np.zeros(len(soles.ids), bool)
    sole = soles.on(jobs.pair[came], jobs.received[came])
    out[sole[sole >= 0]] = True
    return out & (soles.end < NEVER)


def _given_up(log: LogArrays) -> np.ndarray:
    """Whether each sole was ended without any work, by an owner who logs nothing.

    Such a pair is worn no more; nobody can say until when it was.
    """
    jobs, soles = log.jobs, log.soles
    last = np.r_[soles.pair[1:] != soles.pair[:-1], True]
    worked_on = np.zeros(len(soles.ids), bool)
    came = np.flatnonzero(jobs.pair >= 0)
    sole = soles.on(jobs.pair[came], jobs.received[came])
    worked_on[sole[sole >= 0]] = True
    quiet = ~log.logs[log.pair_wearer[soles.pair]]
    return np.asarray(quiet & last & ~worked_on & (soles.end <= log.today))


def _guarded(log: LogArrays) -> np.ndarray:
    """Whether each sole left the ground because a guard was put over it."""
    soles = log.soles
    following = np.r_[soles.guard[1:] & (soles.pair[1:] == soles.pair[:-1]), False]
    next_on = np.r_[soles.fitted[1:], NEVER]
    return np.asarray(following & ~soles.guard & (soles.end == next_on))


def _top_pieces(log: LogArrays) -> np.ndarray:
    """Day of the newest top piece on each sole; -1 where the heel is as it was fitted."""
    out = np.full(len(log.soles.ids), -1)
    done = log.jobs.renewed < NEVER
    day = log.jobs.renewed[done]
    sole = log.soles.on(log.jobs.pair[done], day)
    np.maximum.at(out, sole[sole >= 0], day[sole >= 0])
    sole = log.soles.on(log.top_pair, log.top_day)
    np.maximum.at(out, sole[sole >= 0], log.top_day[sole >= 0])
    return np.where(out > log.soles.fitted, out, -1)


def _lug_bases_mm(log: LogArrays, checks: Checks, check_sole: np.ndarray) -> np.ndarray:
    """Thickness below the lugs of each sole, the mean of what was read; NaN where nothing was."""
    out = np.full(len(log.soles.ids), np.nan)
    wears = (checks.point >= 0) & (checks.point != _HEEL) & (check_sole >= 0)
    read = np.flatnonzero(~np.isnan(checks.lug_mm) & wears)
    read = read[log.soles.material[check_sole[read]] == _LUG]
    if len(read):
        sole, size = check_sole[read], len(out)
        count = np.bincount(sole, minlength=size)
        whole = np.bincount(sole, checks.mm[read] - checks.lug_mm[read], minlength=size)
        out[count > 0] = whole[count > 0] / count[count > 0]
    return out


def _paths(
    n_soles: int, check_sole: np.ndarray, point: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sole, foot and point of each path: the balls of every sole; toe and heel where checked."""
    tracked = sorted_once(check_sole[point > 0] * 4 + point[point > 0])
    place = np.concatenate([np.arange(n_soles) * 4, tracked])
    sole, at = place // 4, place % 4
    key = np.sort(np.concatenate([sole * 8 + at, sole * 8 + 4 + at]))
    return key // 8, key % 8 // 4, key % 4


def _observations(
    log: LogArrays,
    checks: Checks,
    check_sole: np.ndarray,
    renewed: np.ndarray,
    target: np.ndarray,
    end_target: np.ndarray,
    path_key: np.ndarray,
    old: np.ndarray,
    entry_target: np.ndarray,
) -> dict[str, np.ndarray]:
    """Observations by path and target; a waist reading is seen by the ball and the toe."""
    gauge = _GAUGE_OF_METHOD[checks.method]
    kind = np.where(checks.grade == _HOLE_GRADE, HOLE, np.where(gauge < 0, THUMB, gauge))
    heel = checks.point == _HEEL
    fresh = ~heel | (checks.day >= renewed[check_sole])  # not of an earlier top piece
    fresh &= (~np.isnan(checks.mm) & (kind < THUMB)) | (checks.grade >= 0)
    waist = checks.point == _WAIST
    # beside a half sole the old waist is another layer
    off_mm = np.abs(checks.mm - log.soles.nominal_mm[check_sole])
    fresh &= ~(waist & log.soles.half[check_sole] & (off_mm > _HALF_SOLE_REACH_MM))
    worn = np.flatnonzero(fresh & ~waist)
    new = np.flatnonzero(fresh & waist & (kind < THUMB))
    row = np.concatenate([worn, new, new])
    point = np.concatenate([checks.point[worn], np.repeat([0, 1], len(new))])
    current = log.soles.current
    gone = np.flatnonzero(~current & (log.soles.end <= log.today) & ~_given_up(log))
    told = np.repeat(np.concatenate([gone, np.flatnonzero(current)]), 2)
    # who came because a forecast said so did not judge the sole, nor who had a guard put over it
    not_judged = (current | _advised(log) | _guarded(log))[told]
    event = np.concatenate([told, np.repeat(old, 2)])
    event_kind = np.concatenate(
        [np.where(not_judged, STILL_ON, SENT), np.full(2 * len(old), KNOWN_SINCE)]
    )
    event_target = np.concatenate([end_target[told], np.repeat(entry_target, 2)])
    none = np.full(len(event), -1)
    key = np.concatenate(
        [
            (check_sole[row] * 2 + checks.foot[row]) * 4 + point,
            (event * 2 + np.tile([0, 1], len(event) // 2)) * 4,
        ]
    )
    path = np.minimum(np.searchsorted(path_key, key), len(path_key) - 1)
    found = {
        "obs_path": path,
        "obs_target": np.concatenate([target[row], event_target]),
        "obs_kind": np.concatenate([kind[row], event_kind]),
        "obs_mm": np.concatenate([checks.mm[row], np.full(len(event), np.nan)]),
        "obs_grade": np.concatenate([checks.grade[row], none]),
        "obs_waist": np.concatenate([waist[row], np.zeros(len(event), bool)]),
        "obs_check": np.concatenate([checks.row[row], none]),
    }
    order = np.lexsort(
        (found["obs_kind"], found["obs_target"], ~found["obs_waist"], found["obs_path"])
    )
    order = order[(path_key[path] == key)[order]]
    return {name: values[order] for name, values in found.items()}
