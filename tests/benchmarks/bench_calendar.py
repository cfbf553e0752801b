"""How near is the bench on a calendar to an event simulation, and how long does a year take?

Shops of all kinds: their lead times beside those of the same jobs in SimPy, the share of places
that are free when a booking by the book-by date needs them, and the time beside the queue as it
was. What levelling gets stands beside the risk that the shop takes.
"""

from __future__ import annotations

import time

import numpy as np
import pandas as pd

from solespan.forecast import ForecastSettings
from solespan.forecast.bench.hours import BenchHours, Closure
from solespan.forecast.bench.queue import Places, Queue, serve
from solespan.forecast.bench.rules import BenchRules, Machine
from solespan.forecast.bench.standards import AFTER_DRYING_SHARE, STANDARDS
from solespan.forecast.bench.year_ahead import BenchYears, run_bench
from solespan.forecast.frames import WORKS
from solespan.forecast.workload import Jobs, WorkTimes, carried_minutes, due_table, level
from solespan.synthetic_data.shop_years import draw_shop
from tests.benchmarks.window_queue import serve as window_serve
from tests.forecast.bench.event_shop import EventJob, EventShop

Row = dict[str, object]
AS_OF = pd.Timestamp("2026-01-04")
DAYS = 364
FIRST_SEED = 17_000
MINUTES = np.array([STANDARDS[work].minutes for work in WORKS])
TIMES = WorkTimes(MINUTES, 0.25 * MINUTES, np.full(len(WORKS), 0.1), np.full(len(WORKS), 5000.0))
RISKS = (0.10, 0.15, 0.20, 0.30)
HOURS = ((7, 7, 7, 7, 7, 0, 0), (0, 8, 8, 8, 8, 5, 0), (6, 6, 0, 6, 6, 4, 0), (4, 4, 4, 4, 4, 0, 0))


def run(quick: bool) -> list[Row]:
    """Rows of lead times, of bookings, and of time."""
    return [
        *beside_events(2 if quick else 12),
        *bookings(4 if quick else 20, 60),
        *levelled(4 if quick else 20),
        *times_taken(40 if quick else 100, 500 if quick else 4000),
    ]


def shop(seed: int) -> tuple[BenchHours, BenchRules, np.ndarray, float]:
    """Hours, rules, mix and load of one shop."""
    rng = np.random.default_rng([FIRST_SEED, seed])
    benches = 1 + seed % 3
    leave = AS_OF + pd.Timedelta(days=int(rng.integers(180, 220)))
    spans = ((leave, 13), (AS_OF + pd.Timedelta(days=350), 10))
    closures = tuple(Closure(first, first + pd.Timedelta(days=days)) for first, days in spans)
    rules = BenchRules(
        urgent_first=False,
        skills=(("top_piece", "toe_plate", "heel_block"),) if benches == 3 and seed % 2 else (),
        machines=(Machine(("full_sole", "rewelt"), ("after_drying",), 1),) if seed % 4 == 1 else (),
        post_weekdays=(False, True, False, False, True, False, False),
        post_share=0.3 if seed % 5 == 2 else 0.0,
    )
    mix = rng.dirichlet(np.array([6.0, 3, 4, 2, 1, 1]))
    return BenchHours(HOURS[seed % 4], closures, benches), rules, mix, rng.uniform(0.7, 0.95)


def draw(seed: int, years: int, again: int = 0) -> tuple[Jobs, BenchHours, BenchRules]:
    """Jobs of some years of one shop, more of them in autumn; `again` draws others."""
    hours, rules, mix, load = shop(seed)
    rng = np.random.default_rng([FIRST_SEED, seed, 1, again])
    room = hours.minutes_by_day(AS_OF + pd.Timedelta(days=1), DAYS).sum() * hours.benches
    count = rng.poisson(load * room / (mix @ MINUTES), years)
    year = np.repeat(np.arange(years), count)
    season = 1 + 0.15 * np.sin(2 * np.pi * (np.arange(DAYS) - 200) / 365)
    day = 1 + rng.choice(DAYS, len(year), p=season / season.sum())
    unknown = np.full(len(year), -1)
    return Jobs(year, day, rng.choice(len(WORKS), len(year), p=mix), unknown, unknown), hours, rules


def ran(seed: int, years: int, again: int = 0) -> BenchYears:
    """Run some years of a shop."""
    jobs, hours, rules = draw(seed, years, again)
    return run_bench(jobs, TIMES, hours, AS_OF, DAYS, years, rules=rules, seed=1 + again)


def beside_events(shops: int) -> list[Row]:
    """Largest difference of mean and p90 over the shops, in the bar's terms."""
    worst, told = {}, []
    for seed in range(shops):
        jobs = ran(seed, 1).jobs
        began, back = events(seed, jobs)
        for name, own, other in (
            ("wait", jobs["begun_day"], began),
            ("lead time", jobs["back_day"], back),
        ):
            mine, theirs = own - jobs["received_day"], other - jobs["received_day"]
            pairs = {"mean": (mine.mean(), theirs.mean()),
                     "p90": (mine.quantile(0.9), theirs.quantile(0.9))}  # fmt: skip
            for what, (a, b) in pairs.items():
                off = abs(a - b) / max(0.05 * b, 0.3)
                worst[f"{name}, {what}"] = max(off, worst.get(f"{name}, {what}", 0.0))
        told.append(f"{(jobs['back_day'] - jobs['received_day']).mean():.1f}")
    note = f"{shops} shops of mean lead times {', '.join(told)} d; bar 1, 5 % or 0.3 d"
    return [_row(f"beside SimPy, {k}: largest difference", v, "bars", note)
            for k, v in worst.items()]  # fmt: skip


def events(seed: int, jobs: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Run the same jobs in SimPy; days on which each is begun and back."""
    hours, rules, _, _ = shop(seed)
    minutes = hours.minutes_by_day(AS_OF + pd.Timedelta(days=1), DAYS + 300)
    places = rules.places(hours.benches)
    opens = 24.0 * np.arange(len(minutes)) + hours.opens_at_hour
    needs = {(k, s): int(m) for (k, s), m in np.ndenumerate(places.machine_of) if m >= 0}
    drying = rules.drying()
    there = []
    rows = zip(jobs["received_hour"], jobs["minutes"], jobs["work"], strict=True)
    for place, (comes, whole, work) in enumerate(rows):
        kind = WORKS.index(work)
        second = AFTER_DRYING_SHARE * whole if drying[kind] else 0.0
        there.append(EventJob(comes, (whole - second, second), drying[kind], kind, place=place))
    EventShop(opens, opens + minutes / 60, places.skills, places.in_work_limit, needs,
              places.machines).run(there)  # fmt: skip
    begun = np.array([1 + job.begun // 24 for job in there])
    done = np.array([1 + job.done // 24 for job in there])
    return begun, np.array(
        [_leaves(day, minutes, rules) if post else day
         for day, post in zip(done, jobs["by_post"], strict=True)]
    )  # fmt: skip


def _leaves(day: float, minutes: np.ndarray, rules: BenchRules) -> float:
    while True:
        date = AS_OF + pd.Timedelta(days=int(day))
        if minutes[int(day) - 1] and rules.post_weekdays[date.day_of_week]:
            return day
        day += 1


def bookings(shops: int, years: int) -> list[Row]:
    """Share of places asked for on the book-by day that are free by the send-by day."""
    told = []
    for seed in range(shops):
        plan, truth = ran(seed, years), ran(seed, years, again=1)
        waits = plan.booking_waits()
        send = np.arange(45, DAYS - 30)
        by = ForecastSettings(bench_waits=waits).book_by(
            (AS_OF + pd.to_timedelta(send, unit="D")).to_numpy("datetime64[s]")
        )
        asked = (pd.DatetimeIndex(by) - AS_OF).days.to_numpy()
        opened = np.flatnonzero(truth.open_days) + 1
        asked = opened[np.searchsorted(opened, asked)]
        of_day = truth.jobs.groupby("received_day")["begun_day"].apply(np.asarray)
        shares = [(of_day[a] <= s).mean() for a, s in zip(asked, send, strict=True) if a in of_day]
        told.append(float(np.mean(shares)))
    note = f"{shops} shops, {min(told):.3f} to {max(told):.3f}; bar 0.88 to 0.92"
    return [_row("booked by the book-by date: in time", float(np.mean(told)), "share", note)]


def levelled(shops: int) -> list[Row]:
    """Work carried over the weeks, levelled over not, by the risk at the send-by day."""
    rows = []
    drawn = [draw_shop(np.random.default_rng([FIRST_SEED, 2, seed])) for seed in range(shops)]
    for risk in RISKS:
        free, before, after = [], 0.0, 0.0
        for shop in drawn:
            due = due_table(shop.forecast, shop.soles, shop.pairs)
            days = due.quantile_days[(due.rows["point"] == "ball").to_numpy()]
            ten, send_by = (
                np.quantile(np.nan_to_num(days, posinf=1e6), share, axis=1) for share in (0.1, risk)
            )
            # whose send-by day is past was asked before the year
            send_by = np.where(send_by < 7, np.inf, send_by)
            minutes = np.where(send_by < DAYS, shop.truth.come * MINUTES[0], 0.0)
            room = np.full(DAYS // 7, 1.2 * minutes.sum() / (DAYS // 7))
            chance = np.full(len(days), risk)
            plan = level(send_by, chance, minutes, 0.1 * room, room, earliest_day=ten)
            free.append((plan.free_weeks[plan.week >= 0] > 0).mean())
            before += carried_minutes(plan.load_minutes, room)
            after += carried_minutes(plan.level_minutes, room)
        note = (
            f"{shops} shops, full to 93 %; {np.mean(free):.0%} of the owners could be asked for an "
            f"earlier week; {before / shops / 60:.0f} to {after / shops / 60:.0f} h-weeks a shop"
        )
        name = f"work carried over, levelled over not, at {risk:.0%} risk"
        rows.append(_row(name, after / before, "times", note))
    return rows


def times_taken(years: int, jobs: int) -> list[Row]:
    """Processor time of a large shop's years, beside the queue as it was."""
    rng = np.random.default_rng(FIRST_SEED)
    shape = (years, jobs)
    hours = BenchHours(benches=max(2, jobs // 900))
    clock = hours.clock(AS_OF + pd.Timedelta(days=1), DAYS + 366)
    first = rng.gamma(16, 50 / 16, shape)
    queue = Queue(
        np.sort(rng.uniform(0, clock.before[DAYS], shape), axis=1), first,
        np.where(rng.random(shape) < 0.7, first * 0.6, 0.0), np.full(shape, 12.0), np.zeros(shape),
    )  # fmt: skip
    spent = {}
    for name, work in (
        ("as it was", lambda: window_serve(queue, hours.benches, 8 * hours.benches)),
        ("now", lambda: serve(queue, Places.alike(hours.benches, 8 * hours.benches), clock.dried)),
    ):
        begun = time.process_time()
        work()
        spent[name] = time.process_time() - begun
    note = f"{spent['now']:.1f} s against {spent['as it was']:.1f} s; {years} years, {jobs:,} jobs"
    ratio = spent["now"] / spent["as it was"]
    return [_row("time over that of the queue as it was", ratio, "times", f"{note}; bar 1")]


def _row(name: str, value: float, unit: str, note: str) -> Row:
    return {"name": name, "value": float(value), "unit": unit, "note": note}
