"""Does the simulated bench keep the laws that queues have?"""

from __future__ import annotations

import numpy as np
import pytest

from solespan.forecast.bench.queue import Places, Queue, Served, serve

YEARS, JOBS, WARM_UP = 80, 2400, 400


def queue(seed: int, rate: float, work: str, **changes: object) -> Queue:
    """Jobs come at random; the mean work is 1."""
    rng = np.random.default_rng(seed)
    shape = (YEARS, JOBS)
    zeros = np.zeros(shape)
    times = {
        "exponential": lambda: rng.exponential(1.0, shape),
        "constant": lambda: np.ones(shape),
        "gamma": lambda: rng.gamma(4.0, 0.25, shape),
    }[work]()
    parts = {
        "arrival": np.cumsum(rng.exponential(1 / rate, shape), axis=1),
        "first_work": times,
        "second_work": zeros,
        "wait": zeros,
        "urgency": zeros,
    }
    return Queue(**{**parts, **changes})


def mean_wait(given: Queue, served: Served) -> tuple[float, float]:
    """Mean wait in the queue and its standard error over the independent years."""
    waits = (served.begun - given.arrival)[:, WARM_UP:].mean(axis=1)
    return float(waits.mean()), float(waits.std(ddof=1) / np.sqrt(YEARS))


@pytest.mark.parametrize(
    ("work", "square"), [("exponential", 2.0), ("constant", 1.0), ("gamma", 1.25)]
)
def test_the_mean_wait_is_that_of_pollaczek_and_khinchine(work, square):
    """M/G/1: Wq = rate E[S^2] / (2 (1 - load)); for M/M/1 load / (1 - load).

    Gross, Shortle, Thompson and Harris, Fundamentals of Queueing Theory (4th edition, 2008),
    sections 2.2 and 5.1; formulas from memory.
    """
    rate = 0.7
    given = queue(1, rate, work)
    found, error = mean_wait(given, serve(given, Places.alike(1)))
    assert found == pytest.approx(rate * square / (2 * (1 - rate)), abs=4 * error)
    assert error < 0.06


def test_two_benches_wait_as_erlang_says():
    """M/M/2 with offered load a: C(2, a) / (2 - a); the same textbook, section 2.3."""
    a = 1.5
    given = queue(2, a, "exponential")
    found, error = mean_wait(given, serve(given, Places.alike(2)))
    blocked = (a**2 / 2) / (1 + a + a**2 / 2)
    delayed = blocked / (1 - (a / 2) * (1 - blocked))
    assert found == pytest.approx(delayed / (2 - a), abs=4 * error)


def test_the_number_there_is_the_rate_times_the_time_each_stays():
    """Little's law, L = rate W: the number there, seen at even times, against times stayed."""
    given = queue(3, 0.6, "gamma")
    served = serve(given, Places.alike(1))
    end = given.arrival[:, -1]
    stayed = served.done - given.arrival
    looked = np.linspace(0.0, 1.0, 4000)[None, :] * end[:, None]
    there = [
        np.searchsorted(given.arrival[y], looked[y], side="right")
        - np.searchsorted(np.sort(served.done[y]), looked[y], side="right")
        for y in range(YEARS)
    ]
    inside = np.minimum(stayed, end[:, None] - given.arrival).sum(axis=1) / end
    assert np.mean(there) == pytest.approx(inside.mean(), rel=0.01)


@pytest.fixture(scope="module")
def busy() -> tuple[Queue, Served]:
    """Two stages with a wait, some urgent jobs, at most four in work."""
    rng = np.random.default_rng(4)
    shape = (YEARS, JOBS)
    given = queue(
        4,
        0.8,
        "gamma",
        first_work=rng.gamma(4.0, 0.15, shape),
        second_work=np.where(rng.random(shape) < 0.7, rng.gamma(4.0, 0.1, shape), 0.0),
        wait=np.full(shape, 0.5),
        urgency=(rng.random(shape) < 0.2).astype(float),
    )
    return given, serve(given, Places.alike(1, 4))


def test_every_job_is_done_once_and_the_minutes_add_up(busy):
    given, served = busy
    assert np.isfinite(served.done).all()
    total = (given.first_work + given.second_work).sum(axis=1)
    np.testing.assert_allclose(served.worked, total)
    assert (served.begun >= given.arrival).all()
    least = given.first_work + given.second_work + np.where(given.second_work > 0, given.wait, 0)
    assert (served.done - served.begun >= least - 1e-9).all()


def test_never_more_are_in_work_than_the_limit(busy):
    _, served = busy
    for begun, done in zip(served.begun[:20], served.done[:20], strict=True):
        at = np.concatenate([begun, done])
        change = np.concatenate([np.ones(len(begun)), -np.ones(len(done))])
        # what is done at an instant leaves before the next is begun
        order = np.lexsort((change, at.round(9)))
        assert change[order].cumsum().max() <= 4


def test_urgent_jobs_wait_less_than_the_others(busy):
    given, served = busy
    waits = served.begun - given.arrival
    urgent = given.urgency > 0
    assert waits[urgent].mean() < 0.8 * waits[~urgent].mean()


@pytest.mark.slow
def test_more_hands_never_keep_anyone_longer_on_average():
    given = queue(5, 0.9, "gamma")
    one, two = serve(given, Places.alike(1)), serve(given, Places.alike(2))
    assert (two.begun <= one.begun + 1e-9).all()


def test_years_without_jobs_are_left_alone():
    nothing = np.full((2, 3), np.inf)
    zeros = np.zeros((2, 3))
    served = serve(Queue(nothing, zeros, zeros, zeros, zeros), Places.alike(1))
    assert not np.isfinite(served.done).any()
    assert served.worked.tolist() == [0.0, 0.0]
