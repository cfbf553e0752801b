"""Does the bench on a calendar do what a second simulation of the same shop does?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.bench.hours import BenchHours, Closure
from solespan.forecast.bench.queue import Places, Queue, serve
from tests.forecast.bench.event_shop import EventJob, EventShop

MONDAY = pd.Timestamp("2026-01-05")
DAYS = 250
KINDS = 3


def draw(seed: int, load: float, benches: int, days: int = 60):
    """Jobs of one shop: they come in open hours, in three kinds; some do not dry."""
    rng = np.random.default_rng(seed)
    hours = BenchHours((7, 7, 0, 5.5, 8, 3, 0), (Closure(MONDAY + pd.Timedelta(days=40),
                       MONDAY + pd.Timedelta(days=53)),), benches, 9.5)  # fmt: skip
    clock = hours.clock(MONDAY, DAYS)
    minutes = np.array([80.0, 45.0, 20.0])
    count = int(load * benches * clock.before[days] / minutes.mean())
    kind = rng.integers(0, KINDS, count)
    first = minutes[kind] * rng.gamma(8, 0.6 / 8, count)
    second = np.where(kind < 2, minutes[kind] * rng.gamma(8, 0.4 / 8, count), 0.0)
    return clock, {
        "arrival": np.sort(rng.uniform(0, clock.before[days], count)),
        "first_work": first,
        "second_work": second,
        "wait": np.array([12.0, 5.0, 0.0])[kind],
        "urgency": (rng.random(count) < 0.15).astype(float),
        "kind": kind,
    }


def shop_of(clock, places: Places) -> EventShop:
    day = 24.0 * np.arange(len(clock.minutes))
    opens = day + clock.opens
    machine_of = {
        (kind, stage): int(machine)
        for (kind, stage), machine in np.ndenumerate(places.machine_of)
        if machine >= 0
    }
    return EventShop(opens, opens + clock.minutes / 60, places.skills, places.in_work_limit,
                     machine_of, places.machines)  # fmt: skip


def events(clock, drawn, places: Places) -> tuple[np.ndarray, np.ndarray]:
    """Run the second simulation; begun and done in hours of the calendar."""
    day = np.searchsorted(clock.before, drawn["arrival"], side="right") - 1
    comes = 24.0 * day + clock.opens[day] + (drawn["arrival"] - clock.before[day]) / 60
    jobs = [
        EventJob(
            comes[i],
            (drawn["first_work"][i], drawn["second_work"][i]),
            drawn["wait"][i],
            int(drawn["kind"][i]),
            drawn["urgency"][i],
            i,
        )
        for i in range(len(comes))
    ]
    shop_of(clock, places).run(jobs)
    return np.array([j.begun for j in jobs]), np.array([j.done for j in jobs])


SKILLED = np.array([[1, 1, 1], [0, 1, 1], [0, 0, 1]], bool)
ALL = np.ones((3, KINDS), bool)
STITCHER = np.array([[-1, 0], [-1, 0], [-1, -1]])
SHOPS = {
    "one bench": (0.85, Places(ALL[:1])),
    "one bench, work in hand": (0.85, Places(ALL[:1], 4)),
    "more than it can do": (1.15, Places(ALL[:1], 6)),
    "three benches": (0.9, Places(ALL, 9)),
    "skills": (0.8, Places(SKILLED, 0)),
    "a machine for all": (0.8, Places(ALL, 8, STITCHER, (1,))),
    "skills and machines": (0.75, Places(SKILLED, 7, np.array([[0, 1], [-1, 1], [0, -1]]), (1, 2))),
}


@pytest.mark.parametrize("name", SHOPS)
def test_each_job_is_begun_and_done_at_the_hour_of_the_event_simulation(name):
    load, places = SHOPS[name]
    clock, drawn = draw(len(name), load, len(places.skills))
    served = serve(Queue(**{k: v[None] for k, v in drawn.items()}), places, clock.dried)
    begun, done = events(clock, drawn, places)
    assert np.isfinite(done).all()
    np.testing.assert_allclose(clock.calendar_hour(served.done[0]), done, atol=1e-6)
    np.testing.assert_allclose(
        clock.bench_minute(begun), served.begun[0], atol=1e-4, err_msg="begun"
    )
