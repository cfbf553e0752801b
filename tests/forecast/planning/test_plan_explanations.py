"""Does a plan say of every pair and every day why?"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from solespan.forecast.planning import (
    BadPlan,
    Occasion,
    PairState,
    Wishes,
    day_reasons,
    make_plan,
    pair_reasons,
)
from tests.forecast.planning.racks import START, plain


@pytest.fixture(scope="module")
def plan():
    pairs = [
        *plain(4),
        replace(plain(1)[0], pair_id="worn", wear_days_left=0),
        PairState("boot", 50, 80, dress_code="outdoor"),
        PairState("gone", 50, 80, away_until=START + pd.Timedelta(days=200)),
    ]
    day = START + pd.Timedelta(days=10)
    wishes = Wishes(
        weeks=4, most_away=0, months={"p3": (6,)}, occasions=(Occasion(day, pair_id="p0"),)
    )
    return make_plan(pairs, wishes, START)


def test_every_pair_is_told_and_the_numbers_are_the_plans(plan):
    told = pair_reasons(plan).set_index("pair_id")
    assert list(told["wears"]) == list(plan.wears)
    assert told["reason"].str.endswith(".").all()


@pytest.mark.parametrize(
    ("pair_id", "words"),
    [
        ("worn", "none may be away"),
        ("boot", "dress code"),
        ("gone", "at the bench until"),
        ("p3", "month"),
        ("p1", "stays on the shelf"),
    ],
)
def test_a_pair_not_proposed_or_not_sent_is_told_why(plan, pair_id, words):
    told = pair_reasons(plan).set_index("pair_id")
    assert words in told.loc[pair_id, "reason"]


def test_on_each_day_exactly_the_pair_of_the_plan_is_worn_and_all_others_have_a_reason(plan):
    for offset in (0, 3, 10):
        on = START + pd.Timedelta(days=offset)
        told = day_reasons(plan, on).set_index("pair_id")
        (worn,) = told.index[told["worn"]]
        assert worn == plan.days["pair_id"].iloc[offset]
        assert told["reason"].str.len().min() > 10
    assert "reserved" in told.loc["p0", "reason"]
    assert "limit" in told.loc["worn", "reason"]
    assert "outdoor" in told.loc["boot", "reason"]


def test_the_day_before_a_reservation_the_pair_rests_for_it(plan):
    told = day_reasons(plan, START + pd.Timedelta(days=9)).set_index("pair_id")
    assert not told.loc["p0", "worn"]
    assert "rests" in told.loc["p0", "reason"]


def test_a_day_outside_the_plan_is_refused(plan):
    with pytest.raises(BadPlan, match="outside"):
        day_reasons(plan, START - pd.Timedelta(days=1))
