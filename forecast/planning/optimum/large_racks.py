"""Large racks.

Which hand-overs does a plan of many pairs and weeks choose from, where a search takes too long?

Each pair that will be worn out at its share gets one week: the one with most room before that.
"""

from __future__ import annotations

import numpy as np

from solespan.forecast.planning.rack import Rack
from solespan.forecast.planning.score import quarter_of_week, sends_apart

__all__ = ["likely_sends", "obvious_bound"]

EARLY_WEEKS = 10


def likely_sends(rack: Rack) -> np.ndarray:
    """Choose at most one hand-over a pair, shape (P, W): worn-out pairs first, then by run-out."""
    away = np.zeros(rack.weeks, int)
    for state in rack.states:
        if state.away_until is not None:
            away[: max(-(-(state.away_until - rack.start).days // 7), 0)] += 1
    quarters = sends_apart(rack)
    out = np.zeros((len(rack.states), rack.weeks), bool)
    ends = _run_out(rack)
    for pair in np.argsort(ends, kind="stable").tolist():
        end = int(ends[pair])
        if end >= rack.weeks:
            break
        early = 0 if rack.due_week[pair] < rack.weeks else EARLY_WEEKS
        for weeks in (range(max(end - early, 0), end + 1), range(end + 1, rack.weeks)):
            free = [w for w in weeks if _has_room(rack, away, pair, w)]
            if free:
                week = min(free, key=lambda w: (quarters.get(quarter_of_week(rack, w), 0), -w))
                week = week if weeks[0] <= end else free[0]
                out[pair, week] = True
                away[week : week + rack.lead[pair]] += 1
                key = quarter_of_week(rack, week)
                quarters[key] = quarters.get(key, 0) + 1
                break
    return out


def obvious_bound(rack: Rack) -> float:
    """What no plan can pass: every share worn, nothing sent, nothing given up."""
    aims = rack.wishes.aims
    whole = (np.maximum(rack.left, rack.new) / rack.new)[rack.sendable].sum()
    return float(aims.share_gain * rack.target.sum() + aims.sole_cost * whole)


def _run_out(rack: Rack) -> np.ndarray:
    """Week in which each sole is at its end; `weeks` = not in this plan, or nothing is sent."""
    pace = np.maximum(rack.target / rack.weeks, 1e-9)
    ends = np.minimum(np.floor(rack.left / pace), rack.weeks)
    ends = np.minimum(ends, rack.due_week)
    return np.where(rack.sendable, ends, rack.weeks).astype(int)


def _has_room(rack: Rack, away: np.ndarray, pair: int, week: int) -> bool:
    state = rack.states[pair]
    if state.away_until is not None and rack.date(7 * week) < state.away_until:
        return False
    most = away[week : week + rack.lead[pair]].max(initial=0)
    return int(most) < rack.wishes.most_away
