"""Load levelling: in which week is each owner asked, so that the bench is neither idle nor full?

Every pair would be asked for its send-by week. Work that a week cannot hold is carried into the
next. An integer programme asks some pairs earlier, so that the least work is carried over the year.
Of plans that carry the same, it moves fewer pairs, and those of the lowest chance of being due.
Nobody is asked later: a pair past its limit harms itself on the street and waits safely in the
shop.

Large shops are solved in two steps. The first divides the minutes of like pairs freely, which no
whole plan can beat. The second chooses whole pairs where the first divides one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

__all__ = ["Levelled", "carried_minutes", "level"]

_WHOLE_CHOICES = 200  # so many choices of a week are decided at once, as whole pairs
_MOST_NODES = 200  # a bound that no clock moves, so that the same shop has the same plan
_GAP = 1e-3
_MOVE_COST = 1e-4  # of a minute that is asked for a week earlier, in minutes carried for a week


@dataclass(frozen=True)
class Levelled:
    """The plan: `week` each pair is asked for, shape (n,), -1 = not within the horizon.

    moved_weeks : how many weeks earlier than its send-by week.
    free_weeks : how many weeks earlier it may be asked.
    load_minutes, level_minutes : expected work by week before and after, shape (weeks,).
    least_carried : minutes carried, summed over weeks, that no plan can go below.
    """

    week: np.ndarray
    moved_weeks: np.ndarray
    free_weeks: np.ndarray
    load_minutes: np.ndarray
    level_minutes: np.ndarray
    least_carried: float


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
        Chance of being due by then; the lowest is asked first.
    minutes : ndarray, shape (n,)
        Expected bench minutes of asking for the pair: its work times the chance that it comes.
    other_minutes, room_minutes : ndarray, shape (weeks,)
        Work that cannot be moved, and the bench's open minutes.
    most_weeks_early : int
        No pair is asked earlier than this before its send-by week.
    earliest_day : ndarray, shape (n,), optional
        Days from today before which a pair is not asked; after its send-by day it does not count.

    Returns
    -------
    Levelled
        The same pairs, each in one week.
    """
    weeks = len(room_minutes)
    wanted = np.floor(np.maximum(send_by_day, 0.0) / 7.0)
    pairs = np.flatnonzero(wanted < weeks)
    late = wanted[pairs].astype(np.int64)
    first = np.maximum(late - most_weeks_early, 0)
    if earliest_day is not None:
        # a week is allowed when its first day is
        allowed = np.ceil(np.maximum(earliest_day[pairs], 0.0) / 7.0)
        first = np.clip(allowed, first, late).astype(np.int64)
    before = other_minutes + np.bincount(late, minutes[pairs], weeks)
    chosen, least = _chosen(
        late, first, minutes[pairs], chance_due[pairs], other_minutes, room_minutes
    )
    week = np.full(len(send_by_day), -1)
    week[pairs] = chosen
    moved = np.zeros(len(send_by_day), np.int64)
    moved[pairs] = late - chosen
    free = np.zeros(len(send_by_day), np.int64)
    free[pairs] = late - first
    after = other_minutes + np.bincount(chosen, minutes[pairs], weeks)
    return Levelled(week, moved, free, before, after, least)


def _chosen(
    late: np.ndarray,
    first: np.ndarray,
    minutes: np.ndarray,
    chance: np.ndarray,
    other: np.ndarray,
    room: np.ndarray,
) -> tuple[np.ndarray, float]:
    """Choose the week of each pair; also give the least that any plan carries."""
    weeks = np.arange(len(room))
    like, group = np.unique(np.stack([late, first], axis=1), axis=0, return_inverse=True)
    mass = np.bincount(group, minutes, len(like))
    may = (weeks <= like[:, :1]) & (weeks >= like[:, 1:])
    early = (like[:, :1] - weeks) * mass[:, None]
    share, least = _solve(may, mass, early, other, room, whole=False)
    open_weeks = may[group]
    if open_weeks.sum() > _WHOLE_CHOICES:
        # like pairs in order of their chance fill the minutes that the first step gives each week
        order = np.lexsort((chance, group))
        until = np.cumsum(minutes[order]) - (np.cumsum(mass) - mass)[group[order]]
        since = until - minutes[order]
        ends = np.cumsum(share, axis=1)[group[order]] * mass[group[order], None]
        begins = ends - share[group[order]] * mass[group[order], None]
        least_part = 1e-6 * minutes[order][:, None]
        held = np.minimum(ends, until[:, None]) - np.maximum(begins, since[:, None]) > least_part
        open_weeks[order] = held & open_weeks[order]
        # a pair that is divided may also stay in its own week
        divided = open_weeks.sum(axis=1) != 1
        open_weeks[divided, late[divided]] = True
    week = np.where(open_weeks.any(axis=1), open_weeks.argmax(axis=1), late)
    split = open_weeks.sum(axis=1) > 1
    fixed = other + np.bincount(week[~split], minutes[~split], len(room))
    risk = minutes * (1.0 + chance)
    sooner = (late[split, None] - weeks) * risk[split, None]
    whole, _ = _solve(open_weeks[split], minutes[split], sooner, fixed, room, whole=True)
    week[split] = np.where(whole.any(axis=1), whole.argmax(axis=1), late[split])
    return week, least


def _solve(
    may: np.ndarray,
    minutes: np.ndarray,
    early: np.ndarray,
    other: np.ndarray,
    room: np.ndarray,
    *,
    whole: bool,
) -> tuple[np.ndarray, float]:
    """Return the share of each item in each week it may have, and what is carried in all."""
    item, week = np.nonzero(may)
    size, weeks = len(item), len(room)
    place = np.arange(weeks)
    cost = np.concatenate([_MOVE_COST * early[item, week], np.ones(weeks)])
    once = coo_array((np.ones(size), (item, np.arange(size))), (len(may), size + weeks))
    # what is carried out of a week, less what is carried into it, is at least what is over
    over = coo_array(
        (
            np.concatenate([-minutes[item], np.ones(weeks), -np.ones(weeks - 1)]),
            (
                np.concatenate([week, place, place[1:]]),
                np.concatenate([np.arange(size), size + place, size + place[:-1]]),
            ),
        ),
        (weeks, size + weeks),
    )
    found = milp(
        cost,
        integrality=np.concatenate([np.full(size, int(whole)), np.zeros(weeks)]),
        bounds=Bounds(0, np.concatenate([np.ones(size), np.full(weeks, np.inf)])),
        constraints=[LinearConstraint(once, 1, 1), LinearConstraint(over, other - room, np.inf)],
        options={"node_limit": _MOST_NODES, "mip_rel_gap": _GAP if whole else 0.0},
    )
    share = np.zeros(may.shape)
    if found.x is None:
        return share, np.nan
    share[item, week] = np.round(found.x[:size]) if whole else found.x[:size]
    return share, float(found.x[size:].sum())


def carried_minutes(load_minutes: np.ndarray, room_minutes: np.ndarray) -> float:
    """Add up what each week carries into the next, in minutes."""
    surplus = np.cumsum(load_minutes - room_minutes)
    return float((surplus - np.minimum(np.minimum.accumulate(surplus), 0.0)).sum())
