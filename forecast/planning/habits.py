"""Habits: how often would each pair be worn, day by day, if the habits were these?

The wearer goes out as often as before, but never more than rest allows. So the other pairs share
the days that named pairs gain or lose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from solespan.forecast.planning.errors import BadPlan

__all__ = ["Habit", "Pace", "Retire", "Trip", "wear_days_by_day"]

MOST_PER_WEEK = 7.0


@dataclass(frozen=True)
class Pace:
    """Wear this pair so many times a week from a day on (None = at once, no end)."""

    pair_id: str
    wears_per_week: float
    since: pd.Timestamp | None = None
    until: pd.Timestamp | None = None


@dataclass(frozen=True)
class Retire:
    """Wear this pair no more from a day on (None = at once)."""

    pair_id: str
    since: pd.Timestamp | None = None


@dataclass(frozen=True)
class Trip:
    """From a day until a day (inclusive) the wearer has only these pairs along."""

    pair_ids: tuple[str, ...]
    since: pd.Timestamp
    until: pd.Timestamp
    wears_per_week: float = MOST_PER_WEEK


Habit = Pace | Retire | Trip


@dataclass
class _Laid:
    """Wear days per day being laid out: `rate` (pairs, days), and which cells are fixed."""

    rate: np.ndarray
    fixed: np.ndarray
    index: dict[str, int] = field(default_factory=dict)


def wear_days_by_day(
    now: np.ndarray,
    pair_ids: Sequence[str],
    wearer: np.ndarray,
    habits: Sequence[Habit],
    *,
    as_of: pd.Timestamp,
    rest_days: int | None = None,
    plan: pd.DataFrame | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Lay habits and a dated plan over the present use.

    Parameters
    ----------
    now : ndarray, shape (pairs, days)
        Expected wear days on each day after `as_of` under today's habit.
    pair_ids, wearer : sequences of length pairs
    habits : sequence of Pace, Retire, Trip
        Later ones stand over earlier ones.
    as_of : Timestamp
    rest_days : int, optional
        Full days of rest after a day's wear: a pair is worn at most every `1 + rest_days` days.
        None leaves present habits as they are and takes one day for what is changed.
    plan : DataFrame, optional
        Columns pair_id, worn_on: over the days from the first to the last, exactly these wears.

    Returns
    -------
    wear_days : ndarray, shape (pairs, days)
    named : ndarray of bool, shape (pairs, days)
        Where the use is given and not shared out.

    Raises
    ------
    BadPlan
        An unknown pair, a day in the past, more wears than rest allows.
    """
    laid = _Laid(now.copy(), np.zeros(now.shape, bool), {p: i for i, p in enumerate(pair_ids)})
    most = 0.5 if rest_days is None else 1.0 / (1 + rest_days)
    if rest_days is not None:
        laid.fixed |= now > most
        laid.rate[laid.fixed] = most
    for habit in habits:
        _lay(laid, habit, as_of, wearer, most)
    if plan is not None and len(plan):
        _lay_plan(laid, plan, as_of, wearer)
    for one in np.unique(wearer):
        rows = np.flatnonzero(wearer == one)
        named = laid.fixed[rows]
        if not named.any():
            continue
        wanted = now[rows].sum(axis=0)
        given = (laid.rate[rows] * named).sum(axis=0)
        free = now[rows] * ~named
        left = np.maximum(wanted - given, 0.0)
        share = left / np.maximum(free.sum(axis=0), 1e-12)
        touched = named.any(axis=0)
        shared = np.minimum(free * share, np.maximum(free, most)) * ~named
        laid.rate[rows] = np.where(touched, laid.rate[rows] * named + shared, now[rows])
    return laid.rate, laid.fixed


def _span(
    as_of: pd.Timestamp, since: pd.Timestamp | None, until: pd.Timestamp | None, days: int
) -> slice:
    first = 0 if since is None else (since - as_of).days - 1
    last = days if until is None else (until - as_of).days
    if since is not None and first < 0:
        raise BadPlan(
            f"A change from {since.date()} lies in the past.",
            field="since",
            accepted=f"a day after {as_of.date()}",
        )
    if last <= first:
        raise BadPlan("A change ends before it begins.", field="until", accepted="a later day")
    return slice(min(first, days), min(last, days))


def _row(laid: _Laid, pair_id: str) -> int:
    if pair_id not in laid.index:
        raise BadPlan(
            f"There is no pair {pair_id!r} with a sole on it on this rack.",
            field="pair_id",
            accepted=", ".join(sorted(laid.index)[:8]),
        )
    return laid.index[pair_id]


def _per_day(wears_per_week: float, most: float) -> float:
    if not 0.0 <= wears_per_week <= MOST_PER_WEEK * most + 0.5:
        raise BadPlan(
            f"{wears_per_week:g} wears a week "
            + ("are not possible." if wears_per_week < 0 else "leave no rest between."),
            field="wears_per_week",
            accepted=f"0 to {MOST_PER_WEEK * most:.3g} at this rest",
        )
    return min(wears_per_week / 7.0, most)


def _lay(laid: _Laid, habit: Habit, as_of: pd.Timestamp, wearer: np.ndarray, most: float) -> None:
    days = laid.rate.shape[1]
    if isinstance(habit, Pace):
        row, span = _row(laid, habit.pair_id), _span(as_of, habit.since, habit.until, days)
        laid.rate[row, span] = _per_day(habit.wears_per_week, most)
        laid.fixed[row, span] = True
    elif isinstance(habit, Retire):
        row, span = _row(laid, habit.pair_id), _span(as_of, habit.since, None, days)
        laid.rate[row, span], laid.fixed[row, span] = 0.0, True
    else:
        _lay_trip(laid, habit, as_of, wearer, most)


def _lay_trip(
    laid: _Laid, trip: Trip, as_of: pd.Timestamp, wearer: np.ndarray, most: float
) -> None:
    if not trip.pair_ids:
        raise BadPlan("A trip needs at least one pair.", field="pair_ids", accepted="pairs")
    taken = [_row(laid, pair_id) for pair_id in trip.pair_ids]
    span = _span(as_of, trip.since, trip.until, laid.rate.shape[1])
    each = min(_each_day(trip.wears_per_week) / len(taken), most)
    for row in np.flatnonzero(wearer == wearer[taken[0]]):
        laid.rate[row, span] = each if row in taken else 0.0
        laid.fixed[row, span] = True


def _each_day(wears_per_week: float) -> float:
    if not 0.0 <= wears_per_week <= MOST_PER_WEEK:
        raise BadPlan(
            f"{wears_per_week:g} wears a week cannot be.",
            field="wears_per_week",
            accepted="0 to 7",
        )
    return wears_per_week / 7.0


def _lay_plan(laid: _Laid, plan: pd.DataFrame, as_of: pd.Timestamp, wearer: np.ndarray) -> None:
    day = (pd.to_datetime(plan["worn_on"]) - as_of).dt.days.to_numpy() - 1
    if day.min() < 0:
        raise BadPlan(
            "The plan has a day that is not after today.",
            field="worn_on",
            accepted=f"days after {as_of.date()}",
        )
    rows = np.array([_row(laid, str(pair_id)) for pair_id in plan["pair_id"]])
    keep = day < laid.rate.shape[1]
    rows, day = rows[keep], day[keep]
    mine = np.isin(wearer, np.unique(wearer[rows]))
    if len(day):
        span = slice(int(day.min()), int(day.max()) + 1)
        laid.rate[mine, span] = 0.0
        laid.fixed[mine, span] = True
        laid.rate[rows, day] = 1.0
