"""Skilled benches: a day is offered only where a bench that can do the work is free."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.optimize import linprog

from solespan.forecast.bench.free_days import BenchLoad, Task
from solespan.forecast.bench.skilled_load import benches_for

DAYS = 8
SHOPS = 60


def minutes_done(by_group: np.ndarray, tasks: list[Task]) -> float:
    """Count by linear programming how many minutes can be done in time."""
    groups, days = by_group.shape
    places = [
        (number, group, day)
        for number, task in enumerate(tasks)
        for group in (task.groups or range(groups))
        for day in range(task.first_day, task.last_day + 1)
    ]
    if not places:
        return 0.0
    rows = np.zeros((len(tasks) + groups * days, len(places)))
    for column, (number, group, day) in enumerate(places):
        rows[number, column] = rows[len(tasks) + group * days + day, column] = 1.0
    most = [*(task.minutes for task in tasks), *by_group.ravel()]
    return -float(linprog(-np.ones(len(places)), A_ub=rows, b_ub=most).fun)


def random_task(rng: np.random.Generator, groups: int) -> Task:
    first = int(rng.integers(0, DAYS))
    last = int(rng.integers(first, DAYS))
    able = [group for group in range(groups) if rng.random() < 0.6] or [int(rng.integers(groups))]
    return Task(float(rng.integers(2, 40)) * 10.0, first, last, 0, tuple(able))


def test_in_random_shops_work_is_taken_exactly_where_an_able_bench_has_the_time():
    rng = np.random.default_rng(20261201)
    taken = refused = 0
    for _ in range(SHOPS):
        groups = int(rng.integers(2, 4))
        by_group = rng.choice([0.0, 180.0, 420.0], size=(groups, DAYS))
        promised: list[Task] = []
        for _ in range(10):
            asked = random_task(rng, groups)
            fits = BenchLoad(by_group.sum(axis=0), promised, by_group).fits(asked)
            every = [*promised, asked]
            kept = minutes_done(by_group, every) >= sum(t.minutes for t in every) - 1e-6
            assert fits == kept
            if fits:
                promised.append(asked)
            taken, refused = taken + fits, refused + (not fits)
    assert taken > SHOPS
    assert refused > SHOPS


@cache
def two_benches() -> np.ndarray:
    return np.full((2, DAYS), 420.0)


def test_a_day_is_not_offered_while_only_the_other_bench_is_free():
    by_group = two_benches()
    welter_full = [Task(420.0, day, day, 0, (0,)) for day in range(4)]
    load = BenchLoad(by_group.sum(axis=0), welter_full, by_group)
    assert list(load.free_days(60.0, 0, 0, 0, (0,))) == [4, 5, 6, 7]
    assert list(load.free_days(60.0, 0, 0, 0, (1,))) == list(range(8))
    assert load.first_promise(60.0, 0, 0, (0,)) == 4
    assert load.first_promise(60.0, 0, 0, (1,)) == 0


def test_benches_that_do_everything_are_counted_as_one_shop_would():
    rng = np.random.default_rng(3)
    by_group = two_benches()
    for _ in range(20):
        tasks = [random_task(rng, 1) for _ in range(8)]
        anyone = [Task(t.minutes, t.first_day, t.last_day) for t in tasks]
        asked = anyone.pop()
        whole = by_group.sum(axis=0)
        alike, apart = BenchLoad(whole, anyone), BenchLoad(whole, anyone, by_group)
        assert alike.fits(asked) == apart.fits(asked)


@pytest.mark.parametrize(
    ("works", "groups"), [((0,), (0,)), ((1,), (0, 1)), ((0, 1), (0,)), ((2, 0), (1,))]
)
def test_one_bench_does_all_works_of_a_visit_where_there_is_one(works, groups):
    skills = np.array([[True, True, False], [False, True, True]])
    assert benches_for(works, skills) == groups
