"""Do forecasts under another habit move as habits move them, and stay put where nothing changes?"""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import ForecastSettings, forecast
from solespan.forecast.planning import (
    BadPlan,
    ConditionShare,
    Pace,
    Retire,
    Trip,
    wear_allowance,
    what_if,
)
from tests.forecast.builders import TODAY

FAR = pd.Timestamp("2200-01-01")
DATES = ("due_p10", "due_p50", "due_p90", "send_by", "book_by")


@pytest.fixture(scope="module")
def ask(shared_fit, shared_log):
    log = shared_log.of_wearers(["ada"])

    def ask(*habits, **more):
        return what_if(shared_fit, log, TODAY, habits, **more).set_index("pair_id")

    return ask


def test_without_a_change_both_sides_are_the_forecast(ask, shared_fit, shared_log):
    asked = ask()
    rows = forecast(shared_fit, shared_log.of_wearers(["ada"]), TODAY)
    main = rows[(rows["foot"] == "pair") & (rows["point"] == "ball")].set_index("pair_id")
    for name in DATES:
        for when in ("now", "then"):
            assert (asked[f"{name}_{when}"].fillna(FAR) == main[name].fillna(FAR)).all(), name


def test_a_pair_worn_more_is_due_earlier_and_the_others_later_for_the_wearer_goes_out_as_often(ask):
    now = ask()["wear_days_365d_now"]
    then = ask(Pace("ada-0", 2.5))
    assert then.loc["ada-0", "send_by_then"] < then.loc["ada-0", "send_by_now"]
    for other in ("ada-1", "ada-2"):
        assert then["send_by_then"].fillna(FAR)[other] >= then["send_by_now"].fillna(FAR)[other]
    assert then["wear_days_365d_then"].sum() == pytest.approx(now.sum(), rel=0.02)


def test_the_more_a_pair_is_to_be_worn_the_earlier_its_date(ask):
    dates = [ask(Pace("ada-1", w)).loc["ada-1", "due_p50_then"] for w in (3.0, 2.0, 1.0)]
    filled = [FAR if pd.isna(day) else day for day in dates]
    assert filled == sorted(filled)


def test_a_retired_pair_is_never_due_and_leaves_its_wear_to_the_others(ask):
    then = ask(Retire("ada-2"))
    assert pd.isna(then.loc["ada-2", "due_p50_then"])
    assert then.loc["ada-2", "wear_days_365d_then"] == pytest.approx(0, abs=1e-3)
    assert then.loc["ada-0", "wear_days_365d_then"] > then.loc["ada-0", "wear_days_365d_now"]


def test_on_a_trip_only_the_pairs_taken_are_worn(ask):
    since, until = TODAY + pd.Timedelta(days=10), TODAY + pd.Timedelta(days=40)
    then = ask(Trip(("ada-0", "ada-1"), since, until))
    assert then.loc["ada-2", "wear_days_365d_then"] < then.loc["ada-2", "wear_days_365d_now"]
    assert then.loc["ada-0", "wear_days_365d_then"] > then.loc["ada-0", "wear_days_365d_now"]


def test_longer_rest_never_lets_a_pair_be_worn_more_often_than_it_allows(ask):
    then = ask(rest_days=6)
    assert (then["wear_days_365d_then"] <= 365 / 7 + 1).all()


def test_a_dated_plan_counts_its_own_days_and_is_surer_than_a_habit(ask):
    days = pd.date_range(TODAY + pd.Timedelta(days=1), periods=180, freq="2D")
    plan = pd.DataFrame({"pair_id": "ada-0", "worn_on": days})
    then = ask(plan=plan)
    habit = ask(Pace("ada-0", 3.5))
    assert then.loc["ada-0", "wear_days_365d_then"] >= 180
    planned = then.loc["ada-0", "due_p90_then"] - then.loc["ada-0", "due_p10_then"]
    free = habit.loc["ada-0", "due_p90_now"] - habit.loc["ada-0", "due_p10_now"]
    assert planned < free


@pytest.mark.parametrize(
    "habit",
    [
        Pace("nobody", 1.0),
        Pace("ada-0", 6.5),
        Pace("ada-0", 1.0, since=TODAY - pd.Timedelta(days=3)),
        Pace("ada-0", 1.0, since=TODAY + pd.Timedelta(days=9), until=TODAY + pd.Timedelta(days=2)),
        Trip((), TODAY + pd.Timedelta(days=1), TODAY + pd.Timedelta(days=2)),
    ],
)
def test_a_habit_that_cannot_be_is_refused_and_says_what_can(ask, habit):
    with pytest.raises(BadPlan) as refused:
        ask(habit)
    assert refused.value.accepted


def test_a_bolder_owner_has_more_wear_days_left_and_none_has_more_than_at_even_chance(
    shared_fit, shared_log
):
    left = [
        wear_allowance(shared_fit, shared_log, TODAY, ForecastSettings(risk=risk))
        for risk in (0.05, 0.10, 0.30)
    ]
    for one, other in itertools.pairwise(left):
        assert (one["wear_days_left"] <= other["wear_days_left"]).all()
    assert (left[1]["wear_days_left"] <= left[1]["wear_days_left_p50"]).all()
    assert (left[1]["wear_days_new"] > 0).all()


def test_more_wet_days_bring_the_date_nearer_and_fewer_put_it_off(ask):
    dates = [
        ask(ConditionShare("ada-0", "wet", share)).loc["ada-0", "due_p50_then"]
        for share in (1.0, 0.5, 0.0)
    ]
    assert dates == sorted(dates)
    assert dates[0] < dates[-1]


def test_another_condition_changes_no_wear_days_and_no_other_pair(ask):
    then = ask(ConditionShare("ada-0", "rough", 1.0))
    np.testing.assert_allclose(then["wear_days_365d_then"], then["wear_days_365d_now"], rtol=1e-6)
    for other in ("ada-1", "ada-2"):
        moved = then.loc[other, "due_p50_then"] - then.loc[other, "due_p50_now"]
        assert pd.isna(moved) or abs(moved.days) <= 1


@pytest.mark.parametrize(
    "habit",
    [
        ConditionShare("nobody", "wet", 0.5),
        ConditionShare("ada-0", "moonlit", 0.5),
        ConditionShare("ada-0", "wet", 1.5),
    ],
)
def test_a_condition_that_cannot_be_is_refused(ask, habit):
    with pytest.raises(BadPlan):
        ask(habit)
