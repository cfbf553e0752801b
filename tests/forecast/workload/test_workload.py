"""Do simulated years behave as a shop's year does?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.bench.hours import BenchHours, Closure
from solespan.forecast.bench.year_ahead import run_bench
from solespan.forecast.errors import BadFrame, BadHorizon
from solespan.forecast.frames import WORKS
from solespan.forecast.workload import (
    Booked,
    DueTable,
    Jobs,
    WorkloadSettings,
    WorkTimes,
    due_table,
    fit_habits,
    fit_mix,
    fit_newcomers,
    level,
    measures,
    share_of_weeks_over,
    simulate_years,
    summarise,
)
from solespan.forecast.workload.asking import ask_owners, brought_forward
from solespan.synthetic_data.shop_years import ShopYears, draw_shop

TIMES = WorkTimes(
    np.array([130.0, 70, 20, 20, 190, 45, *[30] * 5]), np.array([30.0, 15, 5, 5, 40, 10, *[7] * 5]),
    np.full(len(WORKS), 0.1), np.array([11000.0, 6500, 2800, 2500, 20000, 4500, *[2500] * 5]),
)  # fmt: skip


@pytest.fixture(scope="module")
def shop() -> ShopYears:
    return draw_shop(np.random.default_rng(21))


@pytest.fixture(scope="module")
def parts(shop):
    new = shop.bench_jobs["stranger"].to_numpy()
    return {
        "due": due_table(shop.forecast, shop.soles, shop.pairs),
        "habits": fit_habits(shop.outcomes, shop.as_of),
        "newcomers": fit_newcomers(shop.bench_jobs, new, shop.since, shop.as_of),
        "mix": fit_mix(shop.bench_jobs, new),
        "as_of": shop.as_of,
    }


def run(parts, booked=None, **changes):
    settings = WorkloadSettings(**{"years": 300, "listed_years": 100, **changes})
    return simulate_years(**parts, settings=settings, booked=booked)


@pytest.fixture(scope="module")
def years(parts):
    return run(parts)


def test_the_same_seed_gives_the_same_years_and_another_seed_others(parts, years):
    assert np.array_equal(run(parts).counts, years.counts)
    assert not np.array_equal(run(parts, seed=2).counts, years.counts)


def test_every_listed_job_is_counted_once_on_its_day(years):
    jobs = years.jobs
    listed = np.zeros_like(years.counts[:100])
    np.add.at(listed, (jobs.year, jobs.day - 1, jobs.work), 1)
    assert np.array_equal(listed, years.counts[:100])
    assert jobs.day.min() >= 1
    assert jobs.day.max() <= len(years.days)


def test_whole_years_vary_more_than_independent_pairs_would(parts):
    """What pairs share is in the totals: more of it spreads them without moving them."""
    apart = run(parts, shared_by_all=0.0, shared_by_wearer=0.0).counts.sum(axis=(1, 2))
    shared = run(parts, shared_by_all=0.3, shared_by_wearer=0.4).counts.sum(axis=(1, 2))
    assert shared.std() > 1.2 * apart.std()
    assert shared.mean() == pytest.approx(apart.mean(), rel=0.08)


def test_periods_add_up_to_the_total_and_quantiles_are_in_order(years):
    by_day = measures(years, TIMES, 1)
    total = summarise(years, by_day, "total").set_index("measure")["mean"]
    for period in ("week", "month"):
        told = summarise(years, by_day, period)
        sums = told.groupby("measure")["mean"].sum()
        assert sums.to_dict() == pytest.approx(total.to_dict())
        quantiles = told[["p025", "p10", "p25", "p50", "p75", "p90", "p975"]].to_numpy()
        assert (np.diff(quantiles, axis=1) >= 0).all()
    with pytest.raises(BadFrame):
        summarise(years, by_day, "fortnight")


def test_a_booking_comes_on_its_day_but_for_no_shows(parts):
    booked = Booked(np.full(40, 10), np.full(40, WORKS.index("heel_block")))
    more = run(parts, booked).counts[:, 9, WORKS.index("heel_block")]
    usual = run(parts).counts[:, 9, WORKS.index("heel_block")]
    kept = (more.mean() - usual.mean()) / 40
    assert kept == pytest.approx(1 - parts["habits"].no_show, abs=0.02)


def test_owners_who_come_raise_the_chance_and_who_decline_lower_it(shop):
    day = shop.as_of
    told = pd.DataFrame({"due_on": [day - pd.Timedelta(days=300)] * 60, "came_on": pd.NaT})
    came = told.assign(outcome="came", came_on=day - pd.Timedelta(days=290))
    declined = told.assign(outcome="declined")
    prior = fit_habits(told.head(0).assign(outcome=""), day)
    assert fit_habits(declined, day).come < 0.15 < prior.come < fit_habits(came, day).come
    assert fit_habits(came, day).median_delay_days == pytest.approx(10, abs=2)
    with pytest.raises(BadFrame, match="outcome"):
        fit_habits(told.assign(outcome="perhaps"), day)


def test_an_owner_who_has_waited_long_is_less_likely_to_come(parts):
    rows = pd.DataFrame(
        {
            "pair_id": ["a", "b"],
            "wearer": [0, 1],
            "point": "ball",
            "sole_age_days": [900.0, 900.0],
            "overdue_days": [1.0, 400.0],
            "in_use": 1.0,
            "logs": False,
            "early_days": 0.0,
        }
    )
    due = DueTable(rows, np.zeros((2, 129)))
    jobs = run({**parts, "due": due}, years=1000, listed_years=1000).jobs
    fresh, late = (np.unique(jobs.year[jobs.row == row]).size for row in (0, 1))
    assert late < 0.5 * fresh


def test_without_history_strangers_follow_the_prior_and_with_season_they_follow_it():
    day = pd.Timestamp("2026-11-23")
    none = pd.DataFrame({"pair_id": [], "received_on": pd.to_datetime([])})
    prior = fit_newcomers(none, np.zeros(0, bool), day, day)
    assert 1 < prior.draw(12, 500, np.random.default_rng(1)).sum(axis=1).mean() < 20
    rng = np.random.default_rng(2)
    months = pd.date_range("2022-01-01", "2026-10-01", freq="MS")
    count = rng.poisson(np.where(months.month == 11, 30, 6) + 6 * (months.month % 11 < 2))
    days = pd.Series(np.repeat(months, count))
    jobs = pd.DataFrame({"pair_id": [f"p{i}" for i in range(len(days))], "received_on": days})
    learnt = fit_newcomers(jobs, np.ones(len(days), bool), months[0], day)
    ahead = learnt.draw(12, 500, np.random.default_rng(1)).mean(axis=0)
    assert ahead[[0, 1, 2]].mean() > 1.5 * ahead[[6, 7, 8]].mean(), "November to January"


@pytest.fixture(scope="module")
def bench(years):
    hours = BenchHours((4, 4, 4, 4, 0, 0, 0))
    return run_bench(years.jobs, TIMES, hours, years.as_of, len(years.days), 100)


def test_a_busy_bench_makes_pairs_wait_and_a_second_pair_of_hands_helps(years, bench):
    more = run_bench(
        years.jobs, TIMES, BenchHours((4, 4, 4, 4, 0, 0, 0), benches=2), years.as_of, 365, 100
    )
    assert more.years["longest_wait_days"].mean() < bench.years["longest_wait_days"].mean()
    leads = bench.lead_times()
    assert (leads["wait_days_p50"] <= leads["wait_days_p90"]).all()
    assert (leads["lead_days_p10"] <= leads["lead_days_p90"]).all()


def test_open_hours_are_worked_or_idle_and_no_job_is_lost(years, bench):
    told = bench.years
    np.testing.assert_allclose(told["worked_hours"] + told["idle_hours"], told["open_hours"])
    assert told["jobs"].sum() == len(years.jobs.year)
    assert (bench.jobs["begun_day"] >= bench.jobs["received_day"]).all()
    assert (bench.jobs["done_day"] >= bench.jobs["begun_day"]).all()


def test_nothing_is_done_while_the_bench_is_closed(years):
    first = years.as_of + pd.Timedelta(days=30)
    leave = Closure(first, first + pd.Timedelta(days=27))
    told = run_bench(years.jobs, TIMES, BenchHours(closures=(leave,)), years.as_of, 365, 100).jobs
    assert not told["done_day"].between(31, 56).any()
    assert not told["begun_day"].between(31, 56).any()


def test_levelling_moves_low_risk_pairs_early_into_room_and_loses_none():
    rng = np.random.default_rng(3)
    n, weeks = 300, 52
    send_by = np.where(rng.random(n) < 0.25, rng.uniform(140, 168, n), rng.uniform(0, 363, n))
    risk = rng.random(n)
    room = np.full(weeks, 900.0)
    plan = level(send_by, risk, np.full(n, 120.0), np.full(weeks, 60.0), room)
    assert plan.level_minutes.sum() == pytest.approx(plan.load_minutes.sum())

    def carried(load):
        left = [0.0]
        for minutes in load:
            left.append(max(0.0, left[-1] + minutes - 900.0))
        return sum(left)

    assert carried(plan.level_minutes) < 0.5 * carried(plan.load_minutes)
    moved = plan.moved_weeks > 0
    assert plan.moved_weeks.min() == 0, "nobody is asked later"
    assert 0 < plan.moved_weeks.max() <= 12
    assert risk[moved].mean() < risk[~moved].mean()


def test_a_shop_with_a_peak_waits_less_when_levelled_and_no_more_pairs_wear_through(parts):
    """The year with and without: pairs worn past their limit, waits, idle hours."""
    rng = np.random.default_rng(5)
    n, horizon, years = 150, 364, 60
    peak = np.where(rng.random(n) < 0.5, rng.normal(200, 12, n), rng.uniform(20, 380, n))
    rows = pd.DataFrame(
        {
            "pair_id": [f"p{i}" for i in range(n)],
            "wearer": np.arange(n),
            "point": "ball",
            "sole_age_days": 600.0,
            "overdue_days": 0.0,
            "in_use": 1.0,
            "logs": False,
            "early_days": 0.0,
        }
    )
    spread = np.linspace(-60, 60, 129)
    due = DueTable(rows, np.maximum(peak[:, None] + spread, 1.0))
    send_by = due.quantile_days[:, 13]
    hours = BenchHours((1.2, 1.2, 1.2, 1.2, 1.2, 0, 0))
    settings = WorkloadSettings()
    room = hours.minutes_by_day(parts["as_of"] + pd.Timedelta(days=1), horizon)
    chance = np.full(n, 0.1)
    come = parts["habits"].come * (1 - parts["habits"].no_show)
    plan = level(send_by, chance, np.full(n, 130.0 * come), np.zeros(52),
                 room.reshape(52, 7).sum(axis=1))  # fmt: skip
    told = {}
    here = {**parts, "due": due}
    own = run(here, years=years, listed_years=years, months=12).jobs
    inside = (own.day <= horizon) & (own.row >= 0)
    own = Jobs(*(getattr(own, name)[inside] for name in ("year", "day", "work", "row", "due_day")))
    for name, day in (
        ("as now", send_by),
        ("levelled", np.where(plan.moved_weeks > 0, plan.week * 7.0, send_by)),
    ):
        jobs = ask_owners(own, day, settings.seed)
        ran = run_bench(jobs, TIMES, hours, parts["as_of"], horizon, years).years
        told[name] = ran.mean(numeric_only=True)
        print(name, told[name].round(1).to_dict())  # noqa: T201
    now, levelled = told["as now"], told["levelled"]
    assert levelled["longest_wait_days"] < 0.85 * now["longest_wait_days"]
    assert levelled["worn_past_limit"] <= now["worn_past_limit"]
    assert levelled["idle_hours"] <= now["idle_hours"] + 1


def test_asking_moves_jobs_forward_and_makes_none(parts, years):
    rows, jobs = len(parts["due"].rows), years.jobs
    rng = np.random.default_rng(8)
    day = np.where(rng.random(rows) < 0.6, rng.uniform(0, 500, rows), np.inf)
    asked = ask_owners(jobs, day, 1)
    assert np.array_equal(asked.work, jobs.work)
    assert np.array_equal(asked.year, jobs.year)
    assert (asked.day <= jobs.day).all()
    assert asked.day.min() >= 1
    unasked = (jobs.row < 0) | ~np.isfinite(day[jobs.row])
    assert np.array_equal(asked.day[unasked], jobs.day[unasked])
    _, place, count = np.unique(jobs.year * rows + jobs.row, return_index=True, return_counts=True)
    alone = place[count == 1]
    first = alone[~unasked[alone] & (day[jobs.row[alone]] + 8 < jobs.day[alone])]
    assert len(first) > 100
    assert (asked.day[first] < jobs.day[first]).all()
    nobody = ask_owners(jobs, np.full(rows, np.inf), 1)
    assert np.array_equal(nobody.day, jobs.day)


def test_what_asking_brings_forward_is_counted_apart(parts, years):
    rows = len(parts["due"].rows)
    chance, never, now = np.full(rows, 0.8), np.full(rows, np.inf), np.zeros(rows)
    none = brought_forward(years.jobs, never, chance, 100, 365, 1)
    every = brought_forward(years.jobs, now, chance, 100, 365, 1)
    assert not none.any()
    there = np.unique(years.jobs.year * rows + years.jobs.row, axis=0)[1:]
    assert every.mean() + len(there) / 100 == pytest.approx(0.8 * rows, rel=0.1)
    assert not brought_forward(years.jobs, now, np.zeros(rows), 100, 365, 1).any()


@pytest.mark.parametrize("bad", [{"months": 0}, {"years": 0}, {"shared_by_all": 1.5}])
def test_settings_that_cannot_be_are_refused(bad):
    with pytest.raises(BadHorizon):
        WorkloadSettings(**bad)


@pytest.mark.slow
def test_twenty_thousand_pairs_and_a_thousand_years_are_simulated(shop, parts):
    """Each pair with a ball and, where it is near, a heel: what a shop's forecasts hold."""
    due = parts["due"]
    copies = -(-20_000 // due.rows["pair_id"].nunique())
    rows = [
        due.rows.assign(
            pair_id=due.rows["pair_id"] + f"-{k}", wearer=due.rows["wearer"] + k * 10_000
        )
        for k in range(copies)
    ]
    many = DueTable(pd.concat(rows, ignore_index=True), np.tile(due.quantile_days, (copies, 1)))
    told = run({**parts, "due": many}, years=1000)
    table = summarise(told, measures(told, TIMES, 1), "month")
    assert many.rows["pair_id"].nunique() >= 20_000
    assert len(table)


def test_jobs_are_plain_arrays_of_one_length(years):
    lengths = {len(getattr(years.jobs, name)) for name in ("year", "day", "work", "row", "due_day")}
    assert len(lengths) == 1
    assert isinstance(years.jobs, Jobs)


def test_a_forecast_of_an_earlier_day_brings_nobody_before_tomorrow(shop, parts):
    later = shop.as_of + pd.Timedelta(days=200)
    stale = shop.forecast.assign(as_of=later.as_unit("s"))
    late = parts | {"as_of": later, "due": due_table(stale, shop.soles, shop.pairs)}
    years = run(late)
    assert years.jobs.day.min() >= 1
    assert years.jobs.day.max() <= years.counts.shape[1]


def test_weeks_over_the_hours_fall_with_more_hours(years):
    hours = measures(years, TIMES, 1)["bench_hours"]
    days = hours.shape[1]
    shares = [share_of_weeks_over(years, hours, np.full(days, each)) for each in (0.0, 0.5, 24.0)]
    assert shares[0] > 0.9
    assert shares == sorted(shares, reverse=True)
    assert shares[2] == 0.0


def test_four_quarters_hold_the_year(years):
    by_day = measures(years, TIMES, 1)
    quarters = summarise(years, by_day, "quarter")
    jobs = quarters[quarters["measure"] == "jobs"]
    assert len(jobs) == 4
    whole = summarise(years, by_day, "total")
    assert jobs["mean"].sum() == pytest.approx(whole["mean"].iloc[0])
