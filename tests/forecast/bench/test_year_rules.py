"""Does a simulated year keep the shop's calendar, its post, its machines, and what waits?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import ForecastSettings
from solespan.forecast.bench.hours import BenchHours, Closure
from solespan.forecast.bench.rules import BenchRules, Machine, WaitingJobs
from solespan.forecast.bench.year_ahead import run_bench
from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import WORKS
from solespan.forecast.workload import Jobs, WorkTimes

SUNDAY = pd.Timestamp("2026-01-04")
MINUTES = np.array([130.0, 70, 20, 20, 190, 45])
TIMES = WorkTimes(MINUTES, 0.2 * MINUTES, np.full(6, 0.1), np.full(6, 5000.0))
YEARS, DAYS = 20, 112
SHUT = Closure(pd.Timestamp("2026-02-16"), pd.Timestamp("2026-03-01"))


def run(a_week: int = 12, work: int | None = None, hours: BenchHours | None = None, **more):
    rng = np.random.default_rng(5)
    count = a_week * DAYS // 7 * YEARS
    kind = rng.integers(0, 6, count) if work is None else np.full(count, work)
    unknown = np.full(count, -1)
    jobs = Jobs(np.sort(rng.integers(0, YEARS, count)), rng.integers(1, DAYS + 1, count), kind,
                unknown, unknown)  # fmt: skip
    return run_bench(
        jobs, TIMES, hours or BenchHours(closures=(SHUT,)), SUNDAY, DAYS, YEARS, **more
    )


def weekday(days: pd.Series) -> pd.Series:
    return (SUNDAY + pd.to_timedelta(days, unit="D")).dt.day_of_week


def test_pairs_come_are_begun_and_are_done_on_open_days_only():
    jobs = run().jobs
    for name in ("received_day", "begun_day", "done_day"):
        day = SUNDAY + pd.to_timedelta(jobs[name], unit="D")
        assert (day.dt.day_of_week < 5).all()
        assert not day.between(SHUT.first_on, SHUT.last_on).any()
    assert (jobs["begun_day"] >= jobs["received_day"]).all()


def test_what_dries_overnight_is_done_the_day_after_and_over_a_closed_week_it_is_dry_at_once():
    lone = run(a_week=1, work=WORKS.index("full_sole"), rules=BenchRules()).jobs
    took = lone["done_day"] - lone["begun_day"]
    assert took.min() == 1, "twelve hours are never over on the same day"
    same = run(a_week=1, work=0, rules=BenchRules(drying_hours={"full_sole": 0.0})).jobs
    assert (same["done_day"] == same["begun_day"]).mean() > 0.5
    friday = lone[weekday(lone["begun_day"]) == 4]
    assert (weekday(friday["done_day"]) == 0).mean() > 0.6, "it dries over the week-end"


def test_jobs_by_post_come_and_leave_on_post_days():
    post = (False, True, False, False, True, False, False)
    jobs = run(rules=BenchRules(post_weekdays=post, post_share=0.5)).jobs
    mailed = jobs[jobs["by_post"]]
    assert 0.4 < len(mailed) / len(jobs) < 0.6
    assert set(weekday(mailed["received_day"])) | set(weekday(mailed["back_day"])) == {1, 4}
    assert (mailed["back_day"] >= mailed["done_day"]).all()
    assert (jobs["back_day"] == jobs["done_day"])[~jobs["by_post"]].all()


def test_jobs_that_wait_go_first_and_those_begun_only_need_what_follows_drying():
    drying = BenchRules().drying()
    works = ["full_sole", "half_sole", "full_sole", "rewelt"]
    waiting = WaitingJobs.since(works, [0, 3, None, None], drying, closes_at_hour=16.0)
    assert waiting.begun.tolist() == [True, True, False, False]
    assert waiting.dry_at_hour[:2].tolist() == [16.0, 0.0], "begun today, dry tomorrow"
    left = waiting.minutes_left(TIMES)
    assert left == pytest.approx(0.4 * 130 + 0.4 * 70 + 130 + 190)
    with_them, without = run(waiting=waiting), run()
    done = with_them.waiting_done_day
    assert done.shape == (YEARS, 4)
    assert (done[:, :2] <= 2).all()
    assert (done[:, 2:] >= 2).all()
    waits = [(r.jobs["begun_day"] - r.jobs["received_day"]).mean() for r in (with_them, without)]
    assert waits[0] >= waits[1]
    hours = with_them.years["worked_hours"] - without.years["worked_hours"]
    assert hours.mean() == pytest.approx(left / 60, rel=0.2)


def test_a_machine_that_all_need_makes_pairs_wait_and_a_second_one_helps():
    def lead(count: int) -> float:
        machine = Machine(WORKS, ("before_drying", "after_drying"), count)
        ran = run(24, hours=BenchHours(benches=3), rules=BenchRules(machines=(machine,)))
        return float(ran.lead_times()["lead_days_mean"].mean())

    assert lead(1) > lead(2) > lead(3) - 1e-9
    assert lead(3) == pytest.approx(lead(9))


def test_by_default_more_benches_never_wait_for_the_limit_on_work_in_hand():
    hours = BenchHours(benches=3)
    usual, free = (run(45, hours=hours, rules=BenchRules(n)).jobs for n in (None, 0))
    waits = [(jobs["begun_day"] - jobs["received_day"]).mean() for jobs in (usual, free)]
    assert waits[0] <= waits[1] + 0.1


def test_nine_in_ten_places_asked_for_on_the_day_are_free_in_time():
    ran = run(26)
    waits = ran.booking_waits()
    assert [day for day, _ in waits] == [
        (SUNDAY + pd.Timedelta(days=k)).date() for k in range(1, len(waits) + 1)
    ]
    send = np.arange(30, DAYS - 5)
    by = ForecastSettings(bench_waits=waits).book_by(
        (SUNDAY + pd.to_timedelta(send, unit="D")).to_numpy("datetime64[s]")
    )
    asked = (pd.DatetimeIndex(by) - SUNDAY).days.to_numpy()
    begun = ran.jobs.groupby("received_day")["begun_day"].apply(np.asarray)
    shares = [(begun[a] <= s).mean() for a, s in zip(asked, send, strict=True)]
    assert 0.85 < np.mean(shares) < 0.96
    assert ran.open_days[asked - 1].all(), "nobody asks on a closed day"


@pytest.mark.parametrize(
    "wrong",
    [
        {"skills": (("full_sole",),)},
        {"machines": (Machine(WORKS[:1]), Machine(WORKS[:2]))},
        {"post_share": 1.5},
        {"post_weekdays": (False,) * 7, "post_share": 0.1},
    ],
)
def test_rules_that_cannot_be_are_refused(wrong):
    with pytest.raises(BadHorizon):
        BenchRules(**wrong).places(1)


def test_a_year_without_jobs_has_neither_lead_times_nor_waits():
    none = np.zeros(0, np.int64)
    empty = run_bench(Jobs(*[none] * 5), TIMES, BenchHours(), SUNDAY, DAYS, 2)
    assert empty.lead_times().empty
    assert empty.booking_waits() == ()
