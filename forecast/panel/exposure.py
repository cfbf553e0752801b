"""Exposure: how much was each sole worn by a given day, in standard wear days and by kind of day?

Counts are kept by cell of the flag covariates, so that the multipliers can be learnt later without
touching the wear days again. In a silent gap a wearer logged nothing at all for much longer than
usual. Wear in it is unknown, and the model has its own quantity for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.panel.wear_cells import Frame, base_exposure, cells, flag_table

__all__ = [
    "NEVER",
    "SHIFT",
    "SILENT_DAYS_AT_LEAST",
    "DayRows",
    "Exposure",
    "Frame",
    "Gaps",
    "count_exposure",
    "day_rows",
    "days_of",
    "members_of",
    "silent_days",
    "silent_gaps",
    "sorted_once",
]

SILENT_DAYS_AT_LEAST = 28
SILENT_TIMES_USUAL = 8.0
SHIFT = 1 << 20  # more days than any calendar here
NEVER = SHIFT - 1


def days_of(dates: pd.Series | np.ndarray) -> np.ndarray:
    """Calendar days as integers since 1970-01-01; missing dates become `NEVER`."""
    values = np.asarray(dates).astype("datetime64[D]")
    out = values.astype(np.int64)
    return np.where(np.isnat(values), NEVER, out)


def sorted_once(values: np.ndarray) -> np.ndarray:
    """Sort values and drop doubles; for a million integers ten times faster than hashing them."""
    ordered = np.sort(values)
    return ordered[np.r_[True, ordered[1:] != ordered[:-1]]] if len(ordered) else ordered


@dataclass(frozen=True)
class Exposure:
    """Cumulative exposure of soles at target days.

    base : ndarray, shape (targets, cells)
        Standard wear days before multipliers, by cell, since the sole was fitted.
    driving : ndarray, shape (targets, cells)
        The same times the hours at the wheel on that day.
    silent : ndarray, shape (targets,)
        Standard wear days that habit would have put into stretches that nobody logged. Of wearers
        who log nothing, those of one wear day a week.
    flags : ndarray, shape (cells, flags)
        Which flags are raised in each cell.
    """

    base: np.ndarray
    driving: np.ndarray
    silent: np.ndarray
    flags: np.ndarray


@dataclass(frozen=True)
class DayRows:
    """Wear days: calendar day, standard wear days, hours at the wheel, cell of their flags."""

    day: np.ndarray
    base: np.ndarray
    hours_driven: np.ndarray
    cell: np.ndarray

    def part(self, keep: np.ndarray) -> DayRows:
        """Some of the rows."""
        return DayRows(self.day[keep], self.base[keep], self.hours_driven[keep], self.cell[keep])


def day_rows(days: Frame) -> DayRows:
    """Take what counts from rows of `wear_days`."""
    hours = np.nan_to_num(np.asarray(days["driving_minutes"], dtype=float)) / 60.0
    return DayRows(days_of(days["worn_on"]), base_exposure(days), hours, cells(days))


@dataclass(frozen=True)
class Gaps:
    """Silent gaps, sorted by wearer: wearer, first and last day (both exclusive of logged days)."""

    wearer: np.ndarray
    start: np.ndarray
    end: np.ndarray


def silent_gaps(wearer: np.ndarray, day: np.ndarray, first: np.ndarray, last: int) -> Gaps:
    """Stretches in which a wearer logged nothing for much longer than is usual for them.

    Parameters
    ----------
    wearer, day : ndarray of int, shape (logged days,)
        Who wore any pair, and when.
    first : ndarray of int, shape (wearers,)
        Day on which each wearer's first sole here was fitted.
    last : int
        The day of the forecast.
    """
    log = sorted_once(wearer * SHIFT + day)
    who, when = log // SHIFT, log % SHIFT
    count = np.bincount(who, minlength=len(first))
    usual = np.ones(len(first))
    same = who[1:] == who[:-1]
    if same.any():
        owner, steps = who[1:][same], np.diff(when)[same]
        ordered = np.sort(owner * SHIFT + steps) % SHIFT
        many = np.bincount(owner, minlength=len(first))
        begin, has = np.cumsum(many) - many, many > 0
        middle = begin[has] + (many[has] - 1) // 2, begin[has] + many[has] // 2
        usual[has] = 0.5 * (ordered[middle[0]] + ordered[middle[1]])
    limit = np.maximum(SILENT_DAYS_AT_LEAST, SILENT_TIMES_USUAL * usual)
    edge = np.arange(len(first))[count > 0] * SHIFT
    every = np.sort(np.concatenate([log, edge + first[count > 0], edge + last]), kind="stable")
    who, when = every // SHIFT, every % SHIFT
    long = (who[1:] == who[:-1]) & (np.diff(when) > limit[who[1:]])
    return Gaps(who[:-1][long], when[:-1][long], when[1:][long])


def count_exposure(
    days: DayRows, day_sole: np.ndarray, target_sole: np.ndarray, target_day: np.ndarray
) -> Exposure:
    """Add up wear days per sole until each target day.

    Parameters
    ----------
    days : DayRows
    day_sole : ndarray of int, shape (rows,)
        Sole worn on each row (-1: none, ignored).
    target_sole, target_day : ndarray of int, shape (targets,)
        Sorted by sole and day, no doubles; the last target of each sole covers all its days.

    Returns
    -------
    Exposure
        Cumulative by target (`silent` zero; see `silent_days`).
    """
    if (day_sole < 0).any():
        days, day_sole = days.part(day_sole >= 0), day_sole[day_sole >= 0]
    target_key = target_sole * SHIFT + target_day
    place = np.searchsorted(target_key, day_sole * SHIFT + days.day, side="left")
    place = np.minimum(place, len(target_key) - 1)
    flags = flag_table()
    n_targets, n_cells = len(target_key), len(flags)
    used = np.bincount(days.cell, minlength=n_cells) > 0
    used[0] = True
    narrow = np.cumsum(used) - 1
    width = int(used.sum())
    slot = place * width + narrow[days.cell]

    def total(weights: np.ndarray) -> np.ndarray:
        sums = np.bincount(slot, weights=weights, minlength=n_targets * width)
        return _cumulate(sums.reshape(n_targets, width), target_sole)

    driven = days.base * days.hours_driven
    return Exposure(
        base=total(days.base),
        driving=total(driven) if driven.any() else np.zeros((n_targets, width)),
        silent=np.zeros(n_targets),
        flags=flags[used],
    )


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


def members_of(groups: np.ndarray, of_member: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Every member of each of some groups.

    Parameters
    ----------
    groups : ndarray of int, shape (asked,)
    of_member : ndarray of int, shape (members,)
        Sorted: which group each member belongs to.

    Returns
    -------
    asked, member : ndarray of int
        Indices into both, one row for each member of each group asked for.
    """
    begin = np.searchsorted(of_member, groups, side="left")
    many = np.searchsorted(of_member, groups, side="right") - begin
    asked = np.repeat(np.arange(len(groups)), many)
    before = np.repeat(np.cumsum(many) - many, many)
    return asked, np.arange(len(asked)) - before + begin[asked]


def silent_days(gaps: Gaps, wearer: np.ndarray, fitted: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Days of silent gaps since the sole was fitted, until each target.

    Parameters
    ----------
    gaps : Gaps
    wearer, fitted, day : ndarray of int, shape (targets,)
        Sorted by wearer.

    Returns
    -------
    ndarray, shape (targets,)
    """
    gap, target = members_of(gaps.wearer, wearer)
    begin = np.maximum(gaps.start[gap], fitted[target])
    overlap = np.maximum(np.minimum(gaps.end[gap], day[target]) - begin, 0)
    return np.bincount(target, weights=overlap, minlength=len(day)).astype(float)
