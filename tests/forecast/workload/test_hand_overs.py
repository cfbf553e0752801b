"""Is it learnt truly from past years whether and when owners come, and do known pairs count so?"""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from solespan.forecast import wear_log
from solespan.forecast.backtesting.year_look_back import forecast_past, handed_over
from solespan.forecast.workload import (
    HandOvers,
    PastHabits,
    WorkloadSettings,
    due_table,
    fit_habits,
    fit_mix,
    fit_newcomers,
    learn_past_habits,
    simulate_years,
)
from solespan.forecast.workload.known_log import known_since
from solespan.forecast.workload.mix import SOLE_WORKS
from solespan.synthetic_data import shop_world
from tests.forecast.workload.test_supposed import row_of

DAY = pd.Timestamp("2026-11-23")
YEAR = pd.Timedelta(days=365)
NO_OUTCOMES = pd.DataFrame({"due_on": pd.to_datetime([]), "outcome": [], "came_on": pd.NaT})


def drawn_year(come: float, pairs: int, rng: np.random.Generator) -> HandOvers:
    """A past year of owners who do not log; a pair whose owner came before it is not on record."""
    rows, came = [], []
    while len(rows) < pairs:
        middle = rng.uniform(-300.0, 900.0)
        wait = middle + np.linspace(-60.0, 60.0, 32)
        delay = 21.0 * rng.lognormal(0.0, 0.9) if rng.random() < come * 0.95 else np.inf
        arrival = rng.choice(wait) + delay
        if arrival >= 0.0:
            rows.append(wait)
            came.append(arrival <= 365.0)
    return HandOvers(np.array(rows), np.ones(pairs), np.zeros(pairs, bool), np.array(came))


@pytest.mark.parametrize("come", [0.74, 0.85, 0.95])
def test_the_chance_to_come_is_found_from_hand_overs_and_silence_alone(come):
    rng = np.random.default_rng(5)
    past = learn_past_habits([drawn_year(come, 400, rng) for _ in range(3)])
    habits = fit_habits(NO_OUTCOMES, DAY, past)
    assert habits.come == pytest.approx(come, abs=0.05)
    assert habits.n_outcomes == past.came > 0
    assert fit_habits(NO_OUTCOMES, DAY).come == pytest.approx(0.95, abs=0.01), "the prior"


def test_owners_who_log_and_who_do_not_are_learnt_apart():
    year = drawn_year(0.5, 300, np.random.default_rng(6))
    past, prior = learn_past_habits([year]), PastHabits.none()
    assert expit(past.mean[0, 0]) < 0.9 < expit(prior.mean[0, 0])
    assert past.mean[1] == pytest.approx(prior.mean[1], abs=1e-3)


def test_what_past_years_told_can_be_kept_and_read_again():
    past = learn_past_habits([drawn_year(0.8, 50, np.random.default_rng(7))])
    again = PastHabits.from_dict(json.loads(json.dumps(past.to_dict())))
    assert np.array_equal(again.mean, past.mean)
    assert np.array_equal(again.cov, past.cov)
    assert again.came == past.came


def laid_out(last_worn_on: pd.Series | None):
    """One pair half a year past its date, and one that is at the shop for a sole."""
    late = row_of(0, DAY, DAY, 0.4) | {"thickness_mm_p50": 1.4}
    nothing = dict.fromkeys([n for n in late if n.startswith(("due_p", "chance_"))], None)
    frame = pd.DataFrame([late, row_of(1, DAY, DAY, 1.0) | nothing | {"band": "away"}])
    frame[[n for n in nothing if n.startswith("chance_")]] = frame[
        [n for n in nothing if n.startswith("chance_")]
    ].astype(float)
    for name in ("as_of", *(n for n in nothing if n.startswith("due_p"))):
        frame[name] = pd.to_datetime(frame[name])
    soles = pd.DataFrame(
        {
            "sole_id": frame["sole_id"],
            "pair_id": frame["pair_id"],
            "fitted_on": DAY - pd.Timedelta(days=900),
            "removed_on": [pd.NaT, DAY - pd.Timedelta(days=700)],
            "nominal_thickness_mm": 5.0,
            "limit_mm": 2.0,
        }
    )
    pairs = pd.DataFrame({"pair_id": frame["pair_id"], "wearer_id": frame["pair_id"]})
    return due_table(frame, soles, pairs, last_worn_on)


def share_that_comes(due, pair_id: str) -> float:
    jobs = pd.DataFrame({"pair_id": [], "received_on": pd.to_datetime([]), "work": []})
    none = np.zeros(0, bool)
    years = simulate_years(
        due,
        fit_habits(NO_OUTCOMES, DAY),
        fit_newcomers(jobs, none, DAY, DAY),
        fit_mix(jobs, none),
        DAY,
        WorkloadSettings(years=4000, listed_years=4000),
    )
    mine = (years.jobs.row >= 0) & (due.rows["pair_id"].to_numpy()[years.jobs.row] == pair_id)
    return len(np.unique(years.jobs.year[mine])) / 4000


def test_a_pair_past_its_date_that_is_still_worn_is_late_and_not_gone():
    worn = pd.Series([DAY - pd.Timedelta(days=3)], index=["P0"])
    silent, logged = laid_out(None), laid_out(worn)
    of_late = silent.rows["pair_id"] == "P0"
    assert silent.rows.loc[of_late, "in_use"].item() == pytest.approx(0.4)
    assert logged.rows.loc[of_late, "in_use"].item() == 1.0
    assert logged.rows.loc[of_late, "logs"].item()
    assert share_that_comes(logged, "P0") > 0.6
    assert share_that_comes(silent, "P0") < 0.3


def test_a_pair_at_the_shop_counts_with_its_next_sole():
    """Its last sole lived 200 days."""
    due = laid_out(None)
    middle = due.quantile_days[due.rows["pair_id"] == "P1", 64].item()
    assert middle == pytest.approx(200, rel=0.02)
    assert share_that_comes(due, "P1") > 0.6


def counted(name: str, seed: int) -> tuple[float, int]:
    """Hand-overs of pairs on record a year before the books end: said, and true."""
    drawn = shop_world(name, seed, n_pairs=120)
    log, day = wear_log(**drawn.frames), drawn.as_of - YEAR
    now = forecast_past(log, day)
    past = learn_past_habits([handed_over(log, forecast_past(log, day - YEAR))])
    habits = fit_habits(NO_OUTCOMES, day, past, now.due.logs_share)
    years = now.simulate(habits, WorkloadSettings(years=200, listed_years=200)).jobs
    ball = now.due.rows["point"].to_numpy() == "ball"
    said = (ball[years.row] & (years.row >= 0) & (years.day <= YEAR.days)).sum() / 200
    jobs, since = log.bench_jobs, known_since(log)
    jobs = jobs[jobs["pair_id"].isin(since.index[since <= day]) & jobs["work"].isin(SOLE_WORKS)]
    return float(said), int(
        ((jobs["received_on"] > day) & (jobs["received_on"] <= day + YEAR)).sum()
    )


@pytest.mark.slow
def test_known_pairs_are_counted_without_bias_whoever_logs():
    """Two small shops each, where nobody, a third and everybody logs.

    By chance alone a kind errs by about 13 %, and all of them by 7 %.
    """
    found = {
        name: np.sum([counted(name, seed) for seed in (31, 32)], axis=0)
        for name in ("silent_shop", "mixed_shop_30", "logging_shop")
    }
    for name, (said, true) in found.items():
        assert said / true == pytest.approx(1.0, abs=0.30), name
    said, true = np.sum(list(found.values()), axis=0)
    assert said / true == pytest.approx(1.0, abs=0.15)
