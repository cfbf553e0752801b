"""Does the year's level weigh pairs against counts, and do scaled years keep what they must?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import wear_log
from solespan.forecast.backtesting.year_look_back import (
    LOOK_BACK_COLUMNS,
    count_year,
    look_back,
    past_years,
    plain_forecasts,
)
from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import WORKS
from solespan.forecast.workload import (
    Booked,
    PastYears,
    WorkloadSettings,
    due_table,
    fit_habits,
    fit_level,
    fit_mix,
    fit_newcomers,
    simulate_years,
)
from solespan.forecast.workload.known_log import known_log, known_since
from solespan.forecast.workload.year_scale import scale_years
from solespan.synthetic_data import shop_world
from solespan.synthetic_data.shop_years import draw_shop

SHARES = np.array([0.1, 0.5, 0.9])
STEADY = PastYears(np.full(6, 50.0), np.zeros(0))


@pytest.fixture(scope="module")
def shop():
    return draw_shop(np.random.default_rng(21))


def simulated(shop, past, **changes):
    new = shop.bench_jobs["stranger"].to_numpy()
    settings = {"years": 300, "listed_years": 100} | changes.pop("settings", {})
    return simulate_years(
        due_table(shop.forecast, shop.soles, shop.pairs),
        fit_habits(shop.outcomes, shop.as_of),
        fit_newcomers(shop.bench_jobs, new, shop.since, shop.as_of),
        fit_mix(shop.bench_jobs, new),
        shop.as_of,
        WorkloadSettings(**settings),
        past=past,
        **changes,
    )


def test_without_a_past_the_pairs_stand_alone_and_are_less_sure():
    level = fit_level(PastYears.none(), 80.0, 12.0)
    assert level.expected == pytest.approx(80.0, rel=0.01)
    low, middle, high = level.quantiles(SHARES)
    assert low < middle < high
    assert high - low > 2.56 * np.sqrt(80)


def test_counts_and_pairs_meet_between_and_a_longer_past_counts_for_more():
    told = [
        fit_level(PastYears(np.full(n, 50.0), np.zeros(0)), 150.0, 20.0).expected for n in (0, 2, 6)
    ]
    assert 100.0 < told[2] < told[1] < told[0] == pytest.approx(150.0, rel=0.01)


def test_a_bias_that_lasted_for_years_is_taken_off():
    steady = PastYears(np.full(6, 50.0), np.array([65.0, 65.0, 65.0]))
    assert fit_level(steady, 65.0, 9.0).expected == pytest.approx(100.0, rel=0.03)
    grown = fit_level(steady, 85.0, 9.0).expected
    assert 104.0 < grown < 131.0, "what the pairs say of growth is believed in part"


def test_growth_that_has_ended_is_not_told_on():
    old = np.array([40.0, 32.0, 25.0, 19.0, 14.0, 10.0])
    ended = PastYears(np.r_[np.full(4, 50.0), old], np.zeros(0))
    assert 95.0 < fit_level(ended, 100.0, 20.0).expected < 114.0, "a straight line says 130"


def test_calm_years_make_a_narrower_interval_than_ragged_ones():
    ragged = 50.0 + np.array([9.0, -8, 10, -9, 8, 9, -10, -9, 8, -8])
    spans = []
    for halves in (np.full(10, 50.0), ragged):
        low, middle, high = fit_level(PastYears(halves, np.zeros(0)), 100.0, 12.0).quantiles(SHARES)
        assert low < middle < high
        spans.append(high - low)
    assert spans[0] < spans[1]


def test_a_look_back_that_was_right_makes_the_year_surer():
    right = PastYears(np.full(6, 50.0), np.full(3, 100.0))
    wide, narrow = (fit_level(past, 100.0, 12.0).quantiles(SHARES) for past in (STEADY, right))
    assert narrow[2] - narrow[0] <= wide[2] - wide[0]


@pytest.mark.parametrize("said", [0.0, 0.4, 3.0, 900.0, 60_000.0])
def test_any_size_of_shop_has_a_level(said):
    level = fit_level(PastYears(np.full(4, said / 2), np.zeros(0)), said, np.sqrt(said))
    low, middle, high = level.quantiles(SHARES)
    assert 0 <= low <= middle <= high < 2 * said + 10
    assert level.expected == pytest.approx(said, rel=0.1, abs=1.0)


def test_levelled_years_have_the_level_and_listed_jobs_are_their_counts(shop):
    plain, years = simulated(shop, None), simulated(shop, PastYears.none())
    level = years.level
    totals = years.counts.sum(axis=(1, 2))
    assert totals.mean() == pytest.approx(level.expected, rel=0.01)
    assert totals[:100].mean() == pytest.approx(totals.mean(), rel=0.01)
    np.testing.assert_allclose(np.quantile(totals, SHARES), level.quantiles(SHARES), atol=2)
    assert plain.level is None
    jobs, listed = years.jobs, np.zeros_like(years.counts[:100])
    np.add.at(listed, (jobs.year, jobs.day - 1, jobs.work), 1)
    assert np.array_equal(listed, years.counts[:100])


def test_thinned_and_repeated_years_keep_the_shares_of_work_and_of_months(shop):
    plain = simulated(shop, None).counts
    for said in (0.3, 2.0):
        half = np.full(6, said * plain.sum() / len(plain) / 2)
        counts = simulated(shop, PastYears(half, np.zeros(0))).counts
        assert abs(np.log(counts.sum() / plain.sum())) > 0.1
        for axis in ((0, 1), (0, 2)):
            told = [c.sum(axis=axis)[: 6 if axis == (0, 1) else 360] for c in (plain, counts)]
            parts = [t.reshape(6, -1).sum(axis=1) / t.sum() for t in told]
            np.testing.assert_allclose(parts[0], parts[1], atol=0.02)


def test_a_level_never_moves_bookings(shop):
    work = WORKS.index("heel_block")
    booked = Booked(np.full(40, 10), np.full(40, work))
    few = PastYears(np.full(6, 5.0), np.zeros(0))
    kept = [simulated(shop, past, booked=booked).counts[:, 9, work] for past in (few, None)]
    assert kept[0].min() > 25
    assert kept[0].mean() == pytest.approx(kept[1].mean(), abs=0.5)


def test_a_level_is_of_a_year_and_later_years_follow_it(shop):
    with pytest.raises(BadHorizon, match="12"):
        simulated(shop, STEADY, settings={"months": 6})
    plain, years = (
        simulated(shop, past, settings={"months": 24, "years": 100}).counts.sum(axis=(0, 2))
        for past in (None, STEADY)
    )
    factors = [years[part].sum() / plain[part].sum() for part in (slice(365), slice(365, None))]
    assert factors[0] == pytest.approx(factors[1], rel=0.05)


def test_years_of_a_hundred_thousand_pairs_are_scaled_year_by_year():
    rng = np.random.default_rng(5)
    counts = rng.poisson(25.0, (6, 365, 6)).astype(np.int32)
    level = fit_level(PastYears(np.full(6, 20_000.0), np.zeros(0)), 55_000.0, 900.0)
    out, listed, factor = scale_years(
        counts, np.zeros((5, 0), dtype=np.int64), np.zeros(6), 0, level, rng
    )
    assert out.sum(axis=(1, 2)) == pytest.approx(factor * counts.sum(axis=(1, 2)))
    assert listed.shape == (5, 0)
    assert out.mean() < counts.mean()


def test_empty_years_take_jobs_of_eventful_ones_and_no_jobs_at_all_stay_none():
    rng = np.random.default_rng(6)
    counts = np.zeros((40, 365, 6), dtype=np.int32)
    none = np.zeros((5, 0), dtype=np.int64)
    level = fit_level(PastYears.none(), 2.0, 1.5)
    assert not scale_years(counts, none, np.zeros(40), 0, level, rng)[0].any()
    counts[:10, 50, 0] = 2
    out = scale_years(counts, none, np.zeros(40), 0, level, rng)[0].sum(axis=(1, 2))
    assert out.mean() == pytest.approx(level.expected, rel=0.1)


def test_half_years_are_counted_only_where_they_are_whole():
    day = pd.Timestamp("2026-11-23")
    received = pd.Series(day - pd.to_timedelta(np.arange(0, 510, 10), unit="D"))
    past = past_years(received, day)
    assert past.half_years.tolist() == [19.0, 18.0], "a third begins at 548 days"
    assert count_year(received, day - pd.Timedelta(days=365)) == 37
    told = plain_forecasts(received, day)
    assert told["last_year"] == 37
    assert np.isnan(told["three_years"])
    assert not len(past_years(received.head(0), day).half_years)
    longer = pd.Series(day - pd.to_timedelta(np.arange(0, 1100, 10), unit="D"))
    told = plain_forecasts(longer, day)
    assert told["three_years"] == pytest.approx(36.6, abs=0.5)
    assert told["holt_winters"] == pytest.approx(36.5, abs=4)


def small_shop():
    drawn = shop_world("mixed_shop_10", 3, n_pairs=24)
    return wear_log(**drawn.frames), drawn.as_of


def test_a_past_day_knows_no_pair_that_was_heard_of_later():
    log, as_of = small_shop()
    day = as_of - pd.Timedelta(days=800)
    known, since = known_log(log, day), known_since(log)
    assert set(known.pairs["pair_id"]) == set(since.index[since <= day])
    assert 0 < len(known.pairs) < len(log.pairs)
    assert known.bench_jobs["received_on"].max() <= day
    assert set(known.wearers["wearer_id"]) == set(known.pairs["wearer_id"])


@pytest.mark.slow
def test_a_look_back_does_not_see_what_came_later():
    log, as_of = small_shop()
    none = pd.DataFrame({"due_on": pd.to_datetime([]), "outcome": [], "came_on": pd.NaT})
    settings = WorkloadSettings(years=50, listed_years=0)
    told = look_back(log, as_of, none, settings).years
    assert tuple(told.columns) == LOOK_BACK_COLUMNS
    assert told["years_back"].tolist() == [1, 2, 3]
    assert (told["p10"] <= told["level"]).all()
    day = as_of - pd.Timedelta(days=365)
    jobs = log.bench_jobs
    blind = replace(log, bench_jobs=jobs[jobs["received_on"] <= day])
    again = look_back(blind, as_of, none, settings).years
    assert again["came"].iloc[0] == 0
    assert again["came"].iloc[1:].tolist() == told["came"].iloc[1:].tolist()
    early = replace(log, bench_jobs=jobs.head(0))
    assert look_back(early, as_of, none, settings).years.empty
