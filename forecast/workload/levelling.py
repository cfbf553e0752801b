"""In which week is each owner asked, so that the bench is neither idle nor full?

Every pair would be asked for its send-by week. Where a week's expected work exceeds the bench,
pairs with the lowest chance of being due by then are asked earlier, into the nearest week with
room. Nothing is moved later but what is overdue at the start already: the pairs at the greatest
risk keep their place, the rest of them follow as room comes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Levelled", "level"]


@dataclass(frozen=True)
class Levelled:
    """The plan: `week` each pair is asked for, shape (n,), -1 = not within the horizon.

    moved_weeks : how many weeks earlier than its send-by week (negative: later).
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

    Returns
    -------
    Levelled
        The same pairs, each in one week.
    """
    weeks = len(room_minutes)
    wanted = np.floor(np.maximum(send_by_day, 0.0) / 7.0)
    inside = wanted < weeks
    week = np.where(inside, wanted, -1).astype(int)
    first = week.copy()
    load = other_minutes + np.bincount(week[inside], minutes[inside], weeks)
    before = load.copy()
    by_risk = np.argsort(chance_due, kind="stable")
    members: list[list[int]] = [[] for _ in range(weeks)]
    for pair in by_risk[inside[by_risk]]:
        members[week[pair]].append(int(pair))

    def move(pair: int, to: int) -> None:
        load[week[pair]] -= minutes[pair]
        load[to] += minutes[pair]
        week[pair] = to

    for late in range(weeks - 1, 0, -1):
        for pair in members[late]:
            if load[late] <= room_minutes[late]:
                break
            earliest = max(0, late - most_weeks_early)
            room = room_minutes[earliest:late] - load[earliest:late]
            fits = np.flatnonzero(room >= minutes[pair])
            if len(fits):
                move(pair, earliest + int(fits[-1]))
    # the least urgent of what should have come by today waits for room
    for pair in members[0]:
        if load[0] <= room_minutes[0]:
            break
        fits = np.flatnonzero(room_minutes[1:] - load[1:] >= minutes[pair])
        if len(fits):
            move(pair, 1 + int(fits[0]))
    return Levelled(week, np.where(inside, first - week, 0), before, load)
