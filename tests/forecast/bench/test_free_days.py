"""Free days: no promise is given that the bench cannot keep, and none is refused that it can."""

from __future__ import annotations

import numpy as np
import pytest

from solespan.forecast.bench.free_days import BenchLoad, Task, drying_days

DAYS = 14
SHOPS = 500


def late_minutes(open_minutes: np.ndarray, tasks: list[Task]) -> float:
    """Work day by day, the task that is due first first; return the minutes that come too late."""
    left = [task.minutes for task in tasks]
    late = 0.0
    for day, hands_on in enumerate(open_minutes):
        minutes = hands_on
        there = [i for i, task in enumerate(tasks) if task.first_day <= day]
        for i in sorted(there, key=lambda i: tasks[i].last_day):
            done = min(left[i], minutes)
            left[i] -= done
            minutes -= done
        for i, task in enumerate(tasks):
            if task.last_day == day:
                late, left[i] = late + left[i], 0.0
    return late


def random_shop(rng: np.random.Generator) -> np.ndarray:
    hours = rng.choice([0.0, 3.0, 7.0], size=7, p=[0.3, 0.2, 0.5])
    minutes = np.resize(hours, DAYS) * 60.0 * rng.integers(1, 3)
    minutes[rng.random(DAYS) < 0.1] = 0.0  # closures
    return minutes


def random_task(rng: np.random.Generator) -> Task:
    first = int(rng.integers(0, DAYS))
    last = int(rng.integers(first, DAYS))
    return Task(float(rng.integers(2, 48)) * 10.0, first, last)


def test_on_500_random_days_a_booking_is_taken_exactly_where_every_promise_can_be_kept():
    rng = np.random.default_rng(20261130)
    taken = refused = 0
    for _ in range(SHOPS):
        open_minutes = random_shop(rng)
        promised: list[Task] = []
        for _ in range(12):
            asked = random_task(rng)
            fits = BenchLoad(open_minutes, promised).fits(asked)
            assert fits == (late_minutes(open_minutes, [*promised, asked]) < 1e-6)
            if fits:
                promised.append(asked)
            taken, refused = taken + fits, refused + (not fits)
        assert late_minutes(open_minutes, promised) < 1e-6
    assert taken > SHOPS
    assert refused > SHOPS


def test_26_hours_of_promises_do_not_fit_one_day_of_7_hours():
    open_minutes = np.array([420.0])
    promised: list[Task] = []
    for _ in range(12):  # 130 minutes each, 26 hours
        asked = Task(130.0, 0, 0)
        if BenchLoad(open_minutes, promised).fits(asked):
            promised.append(asked)
    assert len(promised) == 3


def test_every_free_day_is_open_and_takes_the_work():
    rng = np.random.default_rng(7)
    for _ in range(40):
        open_minutes = random_shop(rng)
        load = BenchLoad(open_minutes, [random_task(rng) for _ in range(6)])
        for day in load.free_days(130.0, 1, 5):
            assert open_minutes[day] > 0
            assert load.fits(Task(130.0, day, day + 5, 1))
            promise = load.first_promise(130.0, 1, day)
            assert promise is not None
            assert day < promise <= day + 5
            assert open_minutes[day : promise + 1].sum() >= 130.0


def test_one_more_booking_never_frees_a_day():
    rng = np.random.default_rng(11)
    for _ in range(40):
        open_minutes = random_shop(rng)
        tasks = [random_task(rng) for _ in range(6)]
        before = set(BenchLoad(open_minutes, tasks[:-1]).free_days(60.0, 0, 4))
        assert before >= set(BenchLoad(open_minutes, tasks).free_days(60.0, 0, 4))


@pytest.mark.parametrize(("hours", "days"), [(0, 0), (2, 0), (12, 1), (24, 1), (25, 2)])
def test_work_that_dries_overnight_takes_a_day_more(hours, days):
    assert drying_days(hours) == days
    load = BenchLoad(np.full(9, 420.0), [])
    assert load.first_promise(100.0, days, 0) == days


def test_a_shop_that_is_closed_throughout_has_no_free_day():
    load = BenchLoad(np.zeros(30), [])
    assert list(load.free_days(20.0, 0, 14)) == []
    assert load.first_promise(20.0, 0, 0) is None


def test_late_work_counts_and_a_day_after_it_is_free_again():
    load = BenchLoad(np.full(30, 100.0), [Task(250.0, -5, -2)])
    assert not load.fits(Task(60.0, 0, 1))
    assert load.fits(Task(50.0, 0, 2))
    assert not load.fits(Task(51.0, 0, 2))
