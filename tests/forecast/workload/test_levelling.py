"""Is the year levelled as well as can be, and is nobody asked later or too early?"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from solespan.forecast.workload import carried_minutes, level


def carried(load: np.ndarray, room: np.ndarray) -> float:
    """Minutes carried out of each week, summed."""
    left = total = 0.0
    for minutes, opened in zip(load, room, strict=True):
        left = max(0.0, left + minutes - opened)
        total += left
    return total


def one_by_one(late, chance, minutes, other, room, early) -> np.ndarray:
    """Ask single pairs earlier while work is carried, the last week first; give the load."""
    load = other + np.bincount(late, minutes, len(room))
    for week in range(len(room) - 1, 0, -1):
        for pair in sorted(np.flatnonzero(late == week), key=chance.__getitem__):
            surplus = np.cumsum(load - room)
            out = surplus - np.minimum(np.minimum.accumulate(surplus), 0.0)
            if out[week] <= 0:
                break
            idle = room - load - np.concatenate([[0.0], out[:-1]])
            fits = [w for w in range(max(0, week - early), week) if idle[w] >= minutes[pair]]
            if fits:
                load[[week, fits[-1]]] += [-minutes[pair], minutes[pair]]
    return load


def small(seed: int):
    rng = np.random.default_rng(seed)
    late = rng.integers(1, 5, 6)
    minutes = rng.choice([45.0, 70.0, 130.0], 6)
    return late, rng.random(6), minutes, rng.uniform(0, 60, 5), rng.uniform(60, 160, 5)


@pytest.mark.parametrize("seed", range(6))
def test_no_other_choice_of_weeks_carries_less(seed):
    late, chance, minutes, other, room = small(seed)
    plan = level(late * 7.0 + 3, chance, minutes, other, room, 3)
    every = product(*(range(max(0, w - 3), w + 1) for w in late))
    best = min(carried(other + np.bincount(weeks, minutes, 5), room) for weeks in every)
    assert carried(plan.level_minutes, room) == pytest.approx(best, abs=0.5)
    assert plan.least_carried <= best + 1e-6
    assert best <= carried(one_by_one(late, chance, minutes, other, room, 3), room) + 1e-9


def shop(n: int):
    rng = np.random.default_rng(n)
    send_by = np.where(rng.random(n) < 0.3, rng.normal(170, 25, n), rng.uniform(-20, 500, n))
    minutes = rng.choice([20.0, 70.0, 130.0, 190.0], n) * rng.uniform(0.3, 0.8, n)
    other = rng.uniform(0.1, 0.3, 52)
    inside = send_by < 364
    room = np.full(52, minutes[inside].sum() / 52 / 0.7)
    room[30:32] = 0.0
    return send_by, rng.random(n), minutes, other * room.max(), room


@pytest.mark.parametrize("n", [150, 3000])
def test_moving_pairs_one_by_one_leaves_more_behind_and_the_optimum_is_near_its_bound(n):
    send_by, chance, minutes, other, room = shop(n)
    plan = level(send_by, chance, minutes, other, room)
    late = np.floor(np.maximum(send_by, 0) / 7).astype(int)
    some = late < 52
    greedy = one_by_one(late[some], chance[some], minutes[some], other, room, 12)
    before, after = carried(plan.load_minutes, room), carried(plan.level_minutes, room)
    assert plan.least_carried <= after
    assert after < 0.9 * carried(greedy, room)
    assert before - after > 0.93 * (before - plan.least_carried)
    assert plan.level_minutes.sum() == pytest.approx(plan.load_minutes.sum())
    assert ((plan.moved_weeks >= 0) & (plan.moved_weeks <= 12)).all(), "nobody is asked later"
    assert (plan.moved_weeks <= plan.free_weeks).all()
    assert carried_minutes(plan.level_minutes, room) == pytest.approx(after)
    stuck = level(send_by, chance, minutes, other, room, earliest_day=send_by)
    assert not stuck.free_weeks.any()
    assert np.array_equal(stuck.load_minutes, stuck.level_minutes)
    again = level(send_by, chance, minutes, other, room)
    assert np.array_equal(plan.week, again.week)


def test_nobody_is_asked_before_the_first_day_that_is_allowed():
    send_by, chance, minutes, other, room = shop(150)
    earliest = np.where(np.arange(150) % 2, send_by, send_by - 20)
    plan = level(send_by, chance, minutes, other, room, earliest_day=earliest)
    moved = plan.moved_weeks > 0
    assert moved.any()
    assert not moved[1::2].any()
    assert (plan.week[moved] * 7 >= earliest[moved]).all()


def test_a_year_without_pairs_and_a_year_with_room_stay_as_they_are():
    nothing = np.zeros(0)
    empty = level(nothing, nothing, nothing, np.full(4, 50.0), np.full(4, 40.0))
    assert empty.least_carried == pytest.approx(10 + 20 + 30 + 40)
    roomy = level(
        np.array([3.0, 25.0]), np.zeros(2), np.full(2, 60.0), np.zeros(4), np.ones(4) * 90
    )
    assert roomy.week.tolist() == [0, 3]
