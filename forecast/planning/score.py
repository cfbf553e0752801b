"""Score of a plan: what is a plan worth by the owner's aims, and which wishes does it give up?

In wears: a wear within a pair's share gains `Aims.share_gain`, a sole costs `Aims.sole_cost`. What
is left on the soles at the end is worth its part of a sole, so no sole is put off past the end.
Soles beyond the rack's usual number in a quarter cost more each. So do pairs that stand near the
end of their soles on the last day. A worn-out pair costs `WAIT_COST` a week on the shelf.
A wish given up costs `WISH_COST`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.planning.rack import DAYS_PER_WEEK, WEEKS_PER_QUARTER, Rack

__all__ = [
    "AFTER_SHARE",
    "EXTRA_SOLES",
    "KEPT_DAY_GAIN",
    "KEPT_GAIN",
    "MONTH_COST",
    "RUNGS",
    "WAIT_COST",
    "WISH_COST",
    "GivenUp",
    "Kept",
    "given_up",
    "is_counted",
    "late_sends",
    "left_at_end",
    "month_of_week",
    "quarter_of_week",
    "score_of",
    "sends_apart",
]

MONTH_COST = 2.0
WISH_COST = 100.0
WAIT_COST = 30.0
KEPT_GAIN = 3.0
KEPT_DAY_GAIN = 0.5
EXTRA_SOLES = 3  # beyond the usual number in a quarter; each further one costs as the last of these
RUNGS = (1, 2)  # quarters after the last day
AFTER_SHARE = 0.5  # of the cost of a quarter, for a pair that stands near its end on the last day


@dataclass(frozen=True)
class GivenUp:
    """One wish that the plan gives up: its kind, the day or first day it concerns, in words."""

    kind: str
    on: pd.Timestamp
    sentence: str


@dataclass(frozen=True)
class Kept:
    """What an earlier plan said of the same days.

    days : ndarray of int, shape (D,)
        Index of the pair planned for the day, -1 for none.
    sends : mapping of pair index to week
    """

    days: np.ndarray
    sends: Mapping[int, int]

    @classmethod
    def nothing(cls, rack: Rack) -> Kept:
        """There was no earlier plan."""
        return cls(np.full(rack.days, -1), {})

    def worth(self, rack: Rack) -> float:
        """What keeping every day that can be kept would gain."""
        days = np.flatnonzero(self.days >= 0)
        return KEPT_DAY_GAIN * float(rack.allowed[self.days[days], days].sum())


def month_of_week(rack: Rack, week: int) -> tuple[int, int]:
    """Calendar month of the day on which a week's pairs are handed over."""
    day = rack.date(week * DAYS_PER_WEEK)
    return day.year, day.month


def quarter_of_week(rack: Rack, week: int) -> tuple[int, int]:
    """Calendar quarter of the same day."""
    day = rack.date(week * DAYS_PER_WEEK)
    return day.year, day.quarter


def sends_apart(rack: Rack) -> dict[tuple[int, int], int]:
    """Soles that no plan can move, by quarter: handed over before it, or due on a day.

    A pair that is due counts in the quarter of that day, whenever it goes. So a full quarter keeps
    none waiting.
    """
    first = rack.start.to_period("Q").start_time
    days = [s.sent_on for s in rack.states if s.sent_on is not None]
    out = {quarter_of_week(rack, 0): sum(first <= day < rack.start for day in days)}
    for due in rack.due_week[rack.due_week < rack.weeks].tolist():
        quarter = quarter_of_week(rack, due)
        out[quarter] = out.get(quarter, 0) + 1
    return out


def is_counted(rack: Rack, pair: int, week: int) -> bool:
    """Whether a hand-over counts in its own quarter and month: not the one that was due."""
    due = int(rack.due_week[pair])
    return due >= rack.weeks or week >= due + WEEKS_PER_QUARTER


def left_at_end(rack: Rack, worn: np.ndarray, sends: np.ndarray) -> np.ndarray:
    """Wear days left on each sole after the last day, at the risk level, shape (P,)."""
    out = np.zeros(len(rack.states))
    for pair in range(len(rack.states)):
        weeks = np.flatnonzero(sends[pair])
        first = int(weeks[-1]) * DAYS_PER_WEEK if len(weeks) else 0
        start = rack.new[pair] if len(weeks) else rack.left[pair]
        out[pair] = start - np.count_nonzero(worn[first:] == pair)
    return np.maximum(out, 0.0)


def score_of(rack: Rack, worn: np.ndarray, sends: np.ndarray, kept: Kept) -> float:
    """Score a plan."""
    aims = rack.wishes.aims
    count = np.bincount(worn[worn >= 0], minlength=len(rack.states))
    left = left_at_end(rack, worn, sends)
    score = aims.share_gain * float(np.minimum(count, rack.target).sum())
    score += aims.sole_cost * float((left / rack.new)[rack.sendable].sum() - sends.sum())
    score -= _crowd_cost(rack, sends, left)
    score -= WAIT_COST * _weeks_waited(rack, sends)
    for one in given_up(rack, worn, sends):
        score -= aims.missed_cost if one.kind == "reservation" else WISH_COST
    score += KEPT_GAIN * sum(bool(sends[pair, week]) for pair, week in kept.sends.items())
    same = (kept.days >= 0) & (kept.days == worn)
    return score + KEPT_DAY_GAIN * float(same.sum())


def _crowd_cost(rack: Rack, sends: np.ndarray, left: np.ndarray) -> float:
    cost, one = 0.0, rack.wishes.aims.quarter_cost
    months: dict[tuple[int, int], int] = {}
    quarters = sends_apart(rack)
    for pair, week in np.argwhere(sends).tolist():
        if not is_counted(rack, pair, week):
            continue
        month, quarter = month_of_week(rack, week), quarter_of_week(rack, week)
        months[month] = months.get(month, 0) + 1
        quarters[quarter] = quarters.get(quarter, 0) + 1
    for number in months.values():
        cost += MONTH_COST * max(number - 1, 0)
    usual = rack.usual_per_quarter
    for number in quarters.values():
        cost += sum(one * min(k, EXTRA_SOLES) for k in range(1, number - usual + 1))
    for rung in RUNGS:
        near = (left < rung * rack.quarter_wears) & rack.sendable
        cost += AFTER_SHARE * one * max(int(near.sum()) - rung * usual, 0)
    return cost


def _weeks_waited(rack: Rack, sends: np.ndarray) -> int:
    """Weeks that pairs stand on the shelf after the day they are to be sent."""
    waited = 0
    for pair, due in enumerate(rack.due_week.tolist()):
        weeks = np.flatnonzero(sends[pair])
        first = int(weeks[0]) if len(weeks) else rack.weeks
        waited += max(first - due, 0)
    return waited


def late_sends(rack: Rack, sends: np.ndarray) -> list[GivenUp]:
    """Name every pair that goes later than its verdict says, or not at all."""
    out = []
    for pair, due in enumerate(rack.due_week.tolist()):
        weeks = np.flatnonzero(sends[pair])
        if due >= rack.weeks or (len(weeks) and weeks[0] <= due):
            continue
        state, last = rack.states[pair], rack.date(due * DAYS_PER_WEEK)
        then = f"on {rack.date(int(weeks[0]) * DAYS_PER_WEEK).date()}" if len(weeks) else "later"
        said = f"{state.pair_id} is due at the bench by {last.date()} and goes {then}."
        out.append(GivenUp("late hand-over", last, said))
    return out


def given_up(rack: Rack, worn: np.ndarray, sends: np.ndarray) -> list[GivenUp]:
    """Name every wish that a plan gives up."""
    out = []
    for day in range(rack.days):
        on = rack.date(day)
        if rack.code[day] != "none" and worn[day] < 0:
            said = f"{on.date()}: no pair for {rack.code[day]} wear."
            out.append(GivenUp("day without a pair", on, said))
        reserved = rack.reserved[day]
        if reserved >= 0 and worn[day] != reserved:
            name = rack.states[reserved].pair_id
            said = f"{on.date()}: {name} is not there for the day it is reserved."
            out.append(GivenUp("reservation", on, said))
    out += _too_many_away(rack, sends)
    out += _over_budget(rack, sends)
    return out


def _too_many_away(rack: Rack, sends: np.ndarray) -> list[GivenUp]:
    weeks = sends.shape[1]
    away = np.zeros(weeks, int)
    for pair, week in zip(*np.nonzero(sends), strict=True):
        away[week : week + rack.lead[pair]] += 1
    mondays = [rack.date(w * DAYS_PER_WEEK) for w in range(weeks)]
    already = np.array(
        [
            sum(s.away_until is not None and day < s.away_until for s in rack.states)
            for day in mondays
        ]
    )
    wished = rack.wishes.most_away
    over = away - np.maximum(wished - already, 0)
    most = int(over.max(initial=0))
    if most <= 0:
        return []
    first = rack.date(int(np.argmax(over)) * DAYS_PER_WEEK)
    said = f"From {first.date()}: {wished + most} pairs away at once where {wished} are wished."
    return [GivenUp("pairs away", first, said)] * most


def _over_budget(rack: Rack, sends: np.ndarray) -> list[GivenUp]:
    budget = rack.wishes.budget_minor_per_quarter
    if budget is None:
        return []
    spent: dict[tuple[int, int], int] = {}
    for pair, week in zip(*np.nonzero(sends), strict=True):
        key = quarter_of_week(rack, int(week))
        spent[key] = spent.get(key, 0) + int(rack.price[pair])
    out = []
    for (year, quarter), total in sorted(spent.items()):
        if total > budget:
            first = pd.Timestamp(year=year, month=3 * quarter - 2, day=1)
            said = (
                f"Quarter {quarter} of {year}: new soles for {total / 100:.2f} where "
                f"{budget / 100:.2f} are wished."
            )
            out.append(GivenUp("budget", first, said))
    return out
