"""What becomes of a rack in a year, if its owner follows the plan, and if not?

A small world of its own, with nothing of the wear model in it: every sole has a true number of wear
days until its limit, which nobody knows; the planner is told the number that nine of ten reach.
An owner who does not plan takes favourites more often, looks at the soles on the first of each
month, and sends what is worn through. To see it drawn:

    python -m tests.forecast.planning.owners FILE.html
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from solespan.forecast.planning import PairState, Wishes, make_plan

START = pd.Timestamp("2026-01-05")
WEEKS = 52
KEPT_WEEKS = 4
AHEAD_WEEKS = 10
PAIRS = 6
LEAD_DAYS = 21
LOG_SD = 0.2  # spread of true wear days about what is usual; invented
NINE_OF_TEN = np.exp(-1.2815515655446004 * LOG_SD)
USUAL_NEW = 90.0
WEEK = ("business",) * 7


@dataclass
class _World:
    """True wear days left, days away, and what has been seen to happen."""

    rng: np.random.Generator
    usual: np.ndarray
    true: np.ndarray
    worn: np.ndarray = field(default_factory=lambda: np.zeros(PAIRS, int))
    back: np.ndarray = field(default_factory=lambda: np.zeros(PAIRS, int))
    last: np.ndarray = field(default_factory=lambda: np.full(PAIRS, -9))
    past: set[tuple[int, int]] = field(default_factory=set)
    soles: np.ndarray = field(default_factory=lambda: np.zeros(PAIRS, int))
    sent: list[int] = field(default_factory=list)
    most_away: int = 0

    def wear(self, pair: int, day: int) -> None:
        self.worn[pair] += 1
        self.last[pair] = day
        if self.worn[pair] > self.true[pair]:
            self.past.add((pair, int(self.soles[pair])))

    def send(self, pair: int, day: int) -> None:
        self.sent.append(day)
        self.back[pair] = day + LEAD_DAYS
        self.worn[pair], self.usual[pair] = 0, USUAL_NEW
        self.true[pair] = int(USUAL_NEW * np.exp(LOG_SD * self.rng.standard_normal()))
        self.soles[pair] += 1
        self.most_away = max(self.most_away, int((self.back > day).sum()))


def _world(seed: int) -> _World:
    rng = np.random.default_rng(seed)
    usual = rng.uniform(15, 90, PAIRS)
    true = (usual * np.exp(LOG_SD * rng.standard_normal(PAIRS))).astype(int)
    return _World(rng, usual, true)


def year(seed: int, *, follows: bool) -> dict[str, object]:
    """One owner's year: soles worn past the limit, most pairs away, most sent within 30 days."""
    world = _world(seed)
    for week in range(0, WEEKS, KEPT_WEEKS):
        (_planned_weeks if follows else _unplanned_weeks)(world, week * 7)
    sent = np.array(sorted(world.sent))
    crowd = max(((sent >= day) & (sent < day + 30)).sum() for day in sent) if len(sent) else 0
    return {
        "seed": seed,
        "owner": "follows the plan" if follows else "does not",
        "soles_past_limit": len(world.past),
        "most_away": world.most_away,
        "most_sent_in_30_days": int(crowd),
        "soles_sent": len(sent),
    }


def _planned_weeks(world: _World, first: int) -> None:
    start = START + pd.Timedelta(days=first)
    states = [
        PairState(
            f"p{i}",
            max(int(world.usual[i] * NINE_OF_TEN) - int(world.worn[i]), 0),
            int(USUAL_NEW * NINE_OF_TEN),
            last_worn=START + pd.Timedelta(days=int(world.last[i])),
            away_until=START + pd.Timedelta(days=int(world.back[i]))
            if world.back[i] > first
            else None,
            lead_days=LEAD_DAYS,
        )
        for i in range(PAIRS)
    ]
    plan = make_plan(states, Wishes(weeks=AHEAD_WEEKS, week=WEEK, most_away=1), start)
    for day in range(KEPT_WEEKS * 7):
        if day % 7 == 0:
            for pair in np.flatnonzero(plan.sent[:, day // 7]):
                world.send(int(pair), first + day)
        if plan.worn[day] >= 0:
            world.wear(int(plan.worn[day]), first + day)


def _unplanned_weeks(world: _World, first: int) -> None:
    favour = 1.0 / (1.0 + np.arange(PAIRS))
    for day in range(first, first + KEPT_WEEKS * 7):
        if (START + pd.Timedelta(days=day)).day == 1:
            for pair in np.flatnonzero((world.worn > world.true) & (world.back <= day)):
                world.send(int(pair), day)
        can = (world.back <= day) & (day - world.last > 1)
        if can.any():
            chance = favour * can
            world.wear(int(world.rng.choice(PAIRS, p=chance / chance.sum())), day)


def years(seeds: range) -> pd.DataFrame:
    """The same owners' years with and without the plan, a row each."""
    return pd.DataFrame([year(s, follows=f) for s in seeds for f in (True, False)])


if __name__ == "__main__":
    from solespan.dashboards.figures.plan_followed import plan_followed

    drawn = plan_followed(years(range(12)), today=START)
    Path(sys.argv[1]).write_text(drawn.to_html(include_plotlyjs=True), encoding="utf-8")
