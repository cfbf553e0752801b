"""Which racks do the tests of the planner start from, and is a plan one that can be kept?"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd

from solespan.forecast.planning import PairState, RackPlan
from solespan.forecast.planning.rack import Rack

START = pd.Timestamp("2026-11-26")
CODES = ("formal", "business", "casual", None)


def states(pairs: int, seed: int, *, most_left: int = 60) -> list[PairState]:
    """Pairs with drawn dress codes, wear days left, lead times and prices."""
    rng = np.random.default_rng(seed)
    return [
        PairState(
            f"p{i:02d}",
            int(rng.integers(0, most_left)),
            int(rng.integers(40, 110)),
            dress_code=CODES[rng.choice(4, p=[0.1, 0.5, 0.3, 0.1])],
            lead_days=int(rng.choice([14, 21, 42], p=[0.5, 0.3, 0.2])),
            price_minor=int(rng.integers(6, 20)) * 1000,
        )
        for i in range(pairs)
    ]


def plain(pairs: int, left: int = 60, **more: object) -> list[PairState]:
    """Equal pairs for any occasion."""
    return [replace(PairState(f"p{i}", left, 80), **more) for i in range(pairs)]


def assert_kept(plan: RackPlan) -> None:
    """Hold a plan to its hard rules: code, season, rest, bench and the limit."""
    rack = plan.rack
    left, free_from = rack.left.copy(), np.zeros(len(rack.states), int)
    for day in range(rack.days):
        if day % 7 == 0:
            for pair in np.flatnonzero(plan.sent[:, day // 7]):
                assert free_from[pair] <= day + rack.wishes.rest_days_wet
                left[pair] = rack.new[pair]
                free_from[pair] = day + 7 * rack.lead[pair]
        pair = plan.worn[day]
        if pair < 0:
            continue
        assert rack.allowed[pair, day], "dress code, season, bench and first rest"
        assert day >= free_from[pair], "rest, or away"
        free_from[pair] = day + rack.rest_after(day) + 1
        left[pair] -= 1
        assert left[pair] >= 0, "worn past the limit"


def best_by_enumeration(plan: RackPlan) -> float:
    """The best score of any plan for one week of a small rack, by trying every plan there is."""
    rack = plan.rack
    n, days = len(rack.states), rack.days
    assert days == 7
    every = np.array(list(itertools.product(range(-1, n), repeat=days)))
    fine = np.ones(len(every), bool)
    for day in range(days):
        if rack.code[day] == "none":
            fine &= every[:, day] < 0
        for pair in range(n):
            worn = every[:, day] == pair
            if not rack.allowed[pair, day]:
                fine &= ~worn
            for later in range(day + 1, min(day + rack.rest_after(day) + 1, days)):
                fine &= ~(worn & (every[:, later] == pair))
    every = every[fine]
    count = np.stack([(every == pair).sum(axis=1) for pair in range(n)], axis=1)
    # the usual aims: levels 2 throughout
    missed = ((every < 0) & (rack.code != "none")).sum(axis=1)
    for day in np.flatnonzero(rack.reserved >= 0):
        missed = missed + (every[:, day] != rack.reserved[day])
    best = -np.inf
    for sent in itertools.product((0, 1), repeat=n):
        out = np.array(sent)
        if (out * np.ceil(rack.wishes.earliest_share * rack.left)).any():
            continue  # nothing is worn before the first day, so only worn-out soles are sent
        can = ((count == 0) | (out == 0)).all(axis=1) & (count <= rack.left).all(axis=1)
        if not can.any():
            continue
        more = max(int(out.sum()) - rack.wishes.most_away, 0)
        score = np.minimum(count, rack.target).sum(axis=1) * 0.5 - 100.0 * (missed + more)
        score = score - 30.0 * ((rack.left == 0) & (out == 0)).sum()
        score = score + _crowds(rack, np.where(out, rack.new, rack.left - count), int(out.sum()))
        best = max(best, float(score[can].max()))
    return best


def _crowds(rack: Rack, left: np.ndarray, soles: int) -> np.ndarray:
    """What soles, the quarter and the quarters after the plan are worth, by the usual aims."""
    usual = rack.usual_per_quarter
    out = 20.0 * ((left / rack.new).sum(axis=1) - soles) - 2.0 * max(soles - 1, 0)
    out -= sum(30.0 * k for k in range(1, soles - usual + 1))
    for quarters in (1, 2):
        near = (left < quarters * np.maximum(rack.target * 13.0, 1.0)).sum(axis=1)
        out -= 15.0 * np.maximum(near - quarters * usual, 0)
    return out
