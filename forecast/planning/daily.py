"""Daily schedule (rolling horizon).

Which pair is worn on which day, so that every pair keeps to its share and its rest?

Two weeks are solved at a time and the first of them is kept. Each window is a small exact programme
that covers the days and never breaks rest or passes a limit. It follows every pair's even path
between the totals that `sharing` found.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from solespan.forecast.planning.optimum.milp_builder import LinearProgram
from solespan.forecast.planning.optimum.sharing import Shared
from solespan.forecast.planning.rack import DAYS_PER_WEEK, Rack
from solespan.forecast.planning.score import Kept

__all__ = ["assign_days"]

WINDOW_DAYS = 14
UNCOVERED_COST = 100.0
KEPT_DAY_COST = 20.0
_WINDOW_NODES = 50


@dataclass
class _Running:
    """What the days settled so far leave behind."""

    count: np.ndarray
    left: np.ndarray
    free_from: np.ndarray


def assign_days(rack: Rack, shared: Shared, kept: Kept) -> np.ndarray:
    """Choose the pair of every day.

    Parameters
    ----------
    rack : Rack
    shared : Shared
        Sends by week and wears by week, by periods of a week.
    kept : Kept
        Days of an earlier plan, kept where rest and limits allow.

    Returns
    -------
    ndarray of int, shape (D,)
        Index of the pair worn, -1 for none.
    """
    here = _present(rack, shared.sends)
    ideal = _ideal(rack, shared, here)
    n = len(rack.states)
    running = _Running(np.zeros(n), rack.left.astype(float), np.zeros(n, int))
    worn = np.full(rack.days, -1)
    for week in range(rack.days // DAYS_PER_WEEK):
        first = week * DAYS_PER_WEEK
        running.left = np.where(shared.sends[:, week], rack.new, running.left)
        end = min(first + WINDOW_DAYS, rack.days)
        chosen = _window(rack, shared.sends, here, ideal, kept, running, first, end)
        for day in range(first, first + DAYS_PER_WEEK):
            pair = chosen[day - first]
            worn[day] = pair
            if pair >= 0:
                running.count[pair] += 1
                running.left[pair] -= 1
                running.free_from[pair] = day + rack.rest_after(day) + 1
    return worn


def _present(rack: Rack, sends: np.ndarray) -> np.ndarray:
    """Allowed and not at the bench, shape (P, D)."""
    here = rack.allowed.copy()
    for pair, week in zip(*np.nonzero(sends), strict=True):
        first = week * DAYS_PER_WEEK
        here[pair, first : first + rack.lead[pair] * DAYS_PER_WEEK] = False
    return here


def _ideal(rack: Rack, shared: Shared, here: np.ndarray) -> np.ndarray:
    """Wears that each pair should have had by the end of each day, shape (P, D)."""
    out = np.zeros(here.shape)
    weekly = np.repeat(shared.wears, DAYS_PER_WEEK, axis=1) / DAYS_PER_WEEK
    for pair in range(len(here)):
        edges = [
            0,
            *(w * DAYS_PER_WEEK for w in np.flatnonzero(shared.sends[pair]).tolist()),
            rack.days,
        ]
        for first, end in pairwise(edges):
            open_days = here[pair, first:end]
            total = weekly[pair, first:end].sum()
            out[pair, first:end] = open_days * total / max(int(open_days.sum()), 1)
    return np.cumsum(out, axis=1)


def _window(
    rack: Rack,
    sends: np.ndarray,
    here: np.ndarray,
    ideal: np.ndarray,
    kept: Kept,
    running: _Running,
    first: int,
    end: int,
) -> np.ndarray:
    programme = LinearProgram()
    wear: dict[tuple[int, int], int] = {}
    for day in range(first, end):
        if rack.code[day] == "none":
            continue
        reserved = int(rack.reserved[day])
        terms = []
        for pair in np.flatnonzero(here[:, day] & (day >= running.free_from)).tolist():
            gain = KEPT_DAY_COST if kept.days[day] == pair else 0.0
            gain += UNCOVERED_COST if pair == reserved else 0.0
            wear[pair, day] = programme.variable(gain)
            terms.append((wear[pair, day], 1.0))
        nobody = programme.variable(-UNCOVERED_COST)
        programme.row([*terms, (nobody, 1.0)], least=1.0, most=1.0)
    days = range(first, end)
    for pair in range(len(rack.states)):
        mine = {day: wear[pair, day] for day in days if (pair, day) in wear}
        if not mine:
            continue
        _rest(programme, rack, mine)
        _limit(programme, rack, sends, pair, mine, running.left[pair], first, end)
        behind = ideal[pair, end - 1] - running.count[pair]
        steps = [
            (programme.variable(behind - j - 0.5, whole=False), -1.0)
            for j in range(min(len(mine), WINDOW_DAYS))
        ]
        programme.row([*((v, 1.0) for v in mine.values()), *steps], least=0.0, most=0.0)
    chosen = np.full(end - first, -1)
    found = programme.solve(gap=1e-3, nodes=_WINDOW_NODES) if programme.size else None
    if found is not None:
        for (worn, day), variable in wear.items():
            if found.values[variable] > 0.5:
                chosen[day - first] = worn
    return chosen


def _rest(programme: LinearProgram, rack: Rack, mine: dict[int, int]) -> None:
    rest = rack.wishes.rest_days
    for day, variable in mine.items():
        window = [(mine[d], 1.0) for d in range(day, day + rest + 1) if d in mine]
        if len(window) > 1:
            programme.row(window, most=1.0)
        for later in range(day + rest + 1, day + rack.rest_after(day) + 1):
            if later in mine:
                programme.row([(variable, 1.0), (mine[later], 1.0)], most=1.0)


def _limit(
    programme: LinearProgram,
    rack: Rack,
    sends: np.ndarray,
    pair: int,
    mine: dict[int, int],
    left: float,
    first: int,
    end: int,
) -> None:
    """No more wears before the next hand-over than the sole has left, later reservations kept."""
    weeks = np.flatnonzero(sends[pair]).tolist()
    handed = [w * DAYS_PER_WEEK for w in weeks if w * DAYS_PER_WEEK > first]
    edges = [first, *handed, rack.days]
    for begin, stop in pairwise(edges):
        if begin >= end:
            break
        promised = int((rack.reserved[min(stop, end) : stop] == pair).sum())
        part = [(v, 1.0) for day, v in mine.items() if begin <= day < stop]
        room = (left if begin == first else float(rack.new[pair])) - promised
        if part:
            programme.row(part, most=max(room, 0.0))
