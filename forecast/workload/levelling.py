"""Load levelling: in which week is each owner asked, so that the bench is neither idle nor full?

Every pair would be asked for its send-by week. Work that a week cannot hold is carried into the
next. Where work is carried, pairs with the lowest chance of being due by then are asked earlier.
They move into the nearest week with free hours. Nobody is asked later: a pair past its limit harms
itself on the street and waits safely in the shop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Levelled", "level"]


@dataclass(frozen=True)
class Levelled:
    """The plan: `week` each pair is asked for, shape (n,), -1 = not within the horizon.

    moved_weeks : how many weeks earlier than its send-by week.
    load_minutes, level_minutes : expected work by week before and after, shape (weeks,).
    """

    week: np.ndarray
    moved_weeks: np.ndarray
    load_minutes: np.ndarray
    level_minutes: np.ndarray


def level(
    send_by_day: np.ndarray,
    chance_due: np.ndarray,
    minutes: np.ndarray,
    other_minutes: np.ndarray,
    room_minutes: np.ndarray,
    most_weeks_early: int = 12,
    earliest_day: np.ndarray | None = None,
) -> Levelled:
    """Choose the weeks.

    Parameters
    ----------
    send_by_day : ndarray, shape (n,)
        Days from today to the last day to hand over; past ones count as today, inf = far.
    chance_due : ndarray, shape (n,)
        Chance of being due by then: the order within a week.
    minutes : ndarray, shape (n,)
        Expected bench minutes of asking for the pair: its work times the chance that it comes.
    other_minutes, room_minutes : ndarray, shape (weeks,)
        Work that cannot be moved, and the bench's open minutes.
    most_weeks_early : int
        No pair is asked earlier than this before its send-by week.
    earliest_day : ndarray, shape (n,), optional
        Days from today before which each pair is not asked, at most its send-by day.

    Returns
    -------
    Levelled
        The same pairs, each in one week.
    """
    weeks = len(room_minutes)
    wanted = np.floor(np.maximum(send_by_day, 0.0) / 7.0)
    bound = np.zeros(len(wanted)) if earliest_day is None else np.ceil(earliest_day / 7.0)
    inside = wanted < weeks
    week = np.where(inside, wanted, -1).astype(int)
    first = week.copy()
    load = other_minutes + np.bincount(week[inside], minutes[inside], weeks)
    before = load.copy()
    by_risk = np.argsort(chance_due, kind="stable")
    members: list[list[int]] = [[] for _ in range(weeks)]
    for pair in by_risk[inside[by_risk]]:
        members[week[pair]].append(int(pair))
    carried, idle = _carried(load, room_minutes)
    for late in range(weeks - 1, 0, -1):
        for pair in members[late]:
            if carried[late] <= 0:
                break
            # its own week may begin before its day; an earlier week may not
            earliest = int(min(late, max(0, late - most_weeks_early, bound[pair])))
            fits = np.flatnonzero(idle[earliest:late] >= minutes[pair])
            if len(fits):
                to = earliest + int(fits[-1])
                load[late] -= minutes[pair]
                load[to] += minutes[pair]
                week[pair] = to
                carried, idle = _carried(load, room_minutes)
    return Levelled(week, np.where(inside, first - week, 0), before, load)


def _carried(load: np.ndarray, room: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Work carried out of each week, and time in it that nobody needs."""
    surplus = np.cumsum(load - room)
    # what is carried is the sum since the bench last stood idle
    carried = surplus - np.minimum(np.minimum.accumulate(surplus), 0.0)
    before = np.concatenate([[0.0], carried[:-1]])
    return carried, np.maximum(room - load - before, 0.0)
