"""Does every plan keep its promises, is it the best there is, and does it say what it gives up?"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.planning import (
    BadPlan,
    EarlierPlan,
    Occasion,
    PairState,
    Wishes,
    make_plan,
)
from solespan.forecast.planning.aims import Aims
from solespan.forecast.planning.optimum import milp_builder
from solespan.forecast.planning.optimum.milp_builder import LinearProgram
from solespan.forecast.planning.score import left_at_end
from tests.forecast.planning.racks import START, assert_kept, best_by_enumeration, plain, states


@pytest.mark.parametrize("seed", [1, *(pytest.param(s, marks=pytest.mark.slow) for s in (0, 2, 3))])
def test_rest_bench_codes_and_limits_are_never_broken(seed):
    rng = np.random.default_rng(seed)
    wet = START + pd.Timedelta(days=int(rng.integers(0, 40)))
    wishes = Wishes(
        weeks=6,
        rest_days=int(rng.integers(0, 3)),
        rest_days_wet=int(rng.integers(3, 5)),
        most_away=int(rng.integers(0, 3)),
        occasions=(Occasion(wet, wet=True),),
        months={"p01": (11, 12)},
        wear=("even", "uneven")[seed % 2],
    )
    plan = make_plan(states(5, seed, most_left=(6, 30)[seed % 2]), wishes, START)
    assert_kept(plan)
    assert plan.bound >= plan.score
    assert (plan.days["pair_id"].isna().sum() > 0) == any(
        g.kind == "day without a pair" for g in plan.given_up
    )


@pytest.mark.parametrize("seed", range(6))
def test_a_small_plan_is_the_best_of_all_plans_tried_one_by_one(seed):
    rng = np.random.default_rng(seed)
    pairs = [
        PairState(f"p{i}", int(rng.integers(0, 4)), 60, lead_days=7, price_minor=1)
        for i in range(3)
    ]
    occasions = (Occasion(START + pd.Timedelta(days=3), pair_id="p1"),) if seed % 2 else ()
    plan = make_plan(pairs, Wishes(weeks=1, most_away=1, occasions=occasions), START)
    assert_kept(plan)
    assert plan.score == pytest.approx(best_by_enumeration(plan), abs=1e-3)


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.slow
def test_an_aim_to_spread_never_sends_more_pairs_in_one_quarter_than_none(seed):
    def crowd(plan) -> int:
        quarters = plan.sends["send_on"].dt.to_period("Q").value_counts()
        return int((quarters - 1).clip(lower=0).sum())

    pairs = states(5, seed, most_left=25)
    spread, freely = (
        make_plan(pairs, Wishes(weeks=26, most_away=4, aims=Aims(spread=level)), START)
        for level in (4, 0)
    )
    assert crowd(spread) <= crowd(freely)


def test_uneven_wear_takes_more_from_the_pairs_with_less_left():
    pairs = [replace(p, wear_days_left=20 + 10 * i) for i, p in enumerate(plain(4))]
    even = make_plan(pairs, Wishes(weeks=6, aims=Aims(spread=0)), START).wears
    uneven = make_plan(pairs, Wishes(weeks=6, wear="uneven"), START).wears
    assert even.max() - even.min() <= 1
    assert uneven[0] > uneven[3] + 3


def test_a_pair_that_weighs_more_is_worn_more():
    wears = make_plan(plain(4), Wishes(weeks=6, weights={"p2": 3.0}), START).wears
    assert wears[2] == wears.max() > wears[0]


def test_one_pair_alone_is_worn_every_other_day_and_the_rest_are_the_fewest_days_given_up():
    plan = make_plan(plain(1), Wishes(weeks=2), START)
    assert (plan.wears == [7]).all()
    assert len(plan.given_up) == 7
    assert plan.fewest_proven
    assert all("no pair" in g.sentence for g in plan.given_up)


def test_a_pair_reserved_for_two_days_running_loses_exactly_one_of_them():
    days = [START + pd.Timedelta(days=k) for k in (9, 10)]
    wishes = Wishes(weeks=3, occasions=tuple(Occasion(d, pair_id="p1") for d in days))
    plan = make_plan(plain(4), wishes, START)
    assert_kept(plan)
    (given_up,) = plan.given_up
    assert given_up.kind == "reservation"
    assert "p1" in given_up.sentence
    assert plan.fewest_proven
    assert plan.fewest_proven
    assert plan.gap == 0


@pytest.mark.slow
def test_two_pairs_that_must_both_go_to_the_bench_lose_the_fewest_days_and_the_bound_says_so():
    pairs = [PairState("oxford", 40, 80), PairState("derby", 60, 80)]
    plan = make_plan(pairs, Wishes(weeks=26), "2026-06-01")
    assert_kept(plan)
    assert plan.sent.any(axis=1).all()
    assert {g.kind for g in plan.given_up} == {"day without a pair"}
    assert plan.gap <= 0.02
    assert plan.fewest_proven


def test_a_reserved_pair_is_worn_on_its_day_and_is_not_at_the_bench():
    day = START + pd.Timedelta(days=30)
    wishes = Wishes(weeks=8, occasions=(Occasion(day, dress_code="formal", pair_id="p0"),))
    pairs = [replace(p, wear_days_left=6) for p in plain(5)]
    plan = make_plan(pairs, wishes, START)
    assert not plan.given_up
    assert plan.days.set_index("worn_on").loc[day, "pair_id"] == "p0"


@pytest.mark.slow
def test_no_more_pairs_are_away_and_no_more_is_spent_than_wished():
    pairs = states(7, 2, most_left=10)
    wishes = Wishes(weeks=10, most_away=1, budget_minor_per_quarter=25_000)
    plan = make_plan(pairs, wishes, START)
    assert not [g for g in plan.given_up if g.kind in ("pairs away", "budget")]
    spent = plan.sends.groupby(plan.sends["send_on"].dt.to_period("Q"))["price_minor"].sum()
    assert (spent <= 25_000).all()


@pytest.mark.slow
def test_when_all_are_worn_out_the_wishes_given_up_are_named_by_kind():
    pairs = plain(4, left=2, price_minor=9_000, lead_days=14)
    wishes = Wishes(weeks=5, most_away=1, budget_minor_per_quarter=0)
    plan = make_plan(pairs, wishes, START)
    assert_kept(plan)
    kinds = {g.kind for g in plan.given_up}
    assert "budget" in kinds
    freely = make_plan(pairs, replace(wishes, budget_minor_per_quarter=None), START)
    assert len(freely.given_up) <= len(plan.given_up)


def test_after_a_swapped_day_the_rest_of_the_plan_stays_where_it_can():
    pairs = states(8, 4)
    wishes = Wishes(weeks=8)
    first = make_plan(pairs, wishes, START)
    planned = first.days.set_index("worn_on")["pair_id"]
    other = next(p for p in planned.iloc[1:] if p != planned.iloc[0])
    swapped = [replace(p, last_worn=START) if p.pair_id == other else p for p in pairs]
    again = make_plan(
        swapped,
        wishes,
        START + pd.Timedelta(days=1),
        earlier=EarlierPlan(first.days, first.sends),
    )
    assert_kept(again)
    both = planned.index.intersection(again.days["worn_on"])
    now = again.days.set_index("worn_on")["pair_id"]
    assert (now[both] == planned[both]).mean() >= 0.9


def test_the_same_question_has_the_same_answer():
    pairs = states(6, 5)
    one, two = (make_plan(pairs, Wishes(weeks=4), START) for _ in range(2))
    assert (one.worn == two.worn).all()
    assert (one.sent == two.sent).all()


@pytest.mark.parametrize(
    ("pairs", "wishes", "field"),
    [
        ([], {}, "pairs"),
        ([PairState("old", 0, 1, retired=True)], {}, "pairs"),
        (plain(2), {"weeks": 0}, "weeks"),
        (plain(2), {"week": ("business",) * 6}, "week"),
        (plain(2), {"week": ("gala",) * 7}, "week"),
        (plain(2), {"wear": "odd"}, "wear"),
        (plain(2), {"weights": {"nobody": 1.0}}, "pair_id"),
        (plain(2), {"months": {"p0": (13,)}}, "months.p0"),
        (plain(2), {"budget_minor_per_quarter": -1}, "budget_minor_per_quarter"),
        (plain(2), {"occasions": (Occasion(START, pair_id="nobody"),)}, "pair_id"),
        (plain(2), {"occasions": (Occasion(START - pd.Timedelta(days=1)),)}, "occasions.on"),
        (
            plain(2),
            {"occasions": (Occasion(START, pair_id="p0"), Occasion(START, pair_id="p1"))},
            "occasions.on",
        ),
        (
            [*plain(2), PairState("old", 0, 1, retired=True)],
            {"occasions": (Occasion(START, pair_id="old"),)},
            "pair_id",
        ),
    ],
)
def test_what_cannot_be_planned_is_refused_by_field_and_says_what_is_accepted(pairs, wishes, field):
    with pytest.raises(BadPlan) as refused:
        make_plan(pairs, Wishes(**wishes), START)
    assert refused.value.field == field
    assert refused.value.accepted


@pytest.mark.slow
@pytest.mark.parametrize(("pairs", "weeks", "most_left"), [(30, 26, 60), (60, 52, 8), (120, 52, 8)])
def test_a_large_rack_keeps_its_promises_and_its_bound(pairs, weeks, most_left):
    rack = states(pairs, 1, most_left=most_left)
    plan = make_plan(rack, Wishes(weeks=weeks, most_away=3), START)
    assert_kept(plan)
    assert plan.bound >= plan.score
    assert not [g for g in plan.given_up if g.kind == "pairs away"]


@pytest.mark.slow
def test_thirty_small_racks_of_thirty_have_the_best_plan_there_is():
    for seed in range(30):
        rng = np.random.default_rng(seed)
        pairs, weeks = int(rng.integers(2, 5)), int(rng.integers(2, 9))
        plan = make_plan(states(pairs, seed, most_left=30), Wishes(weeks=weeks), START)
        assert plan.gap <= 1e-3, seed


def test_a_pair_that_is_worn_out_goes_to_the_bench_at_once_and_one_to_retire_never():
    pairs = plain(5, left=40)
    pairs[0] = replace(pairs[0], wear_days_left=0)
    pairs[1] = replace(pairs[1], wear_days_left=0, next_sole="retire")
    pairs[2] = replace(pairs[2], wear_days_left=6, send_by=START + pd.Timedelta(days=16))
    plan = make_plan(pairs, Wishes(weeks=8, week=("business",) * 7), START)
    assert_kept(plan)
    sent = plan.sends.set_index("pair_id")["send_on"]
    assert sent["p0"] == START
    assert sent["p2"] <= START + pd.Timedelta(days=16)
    assert "p1" not in sent
    assert plan.wears[1] == 0


@pytest.mark.slow
def test_pairs_do_not_stand_at_their_end_together_on_the_day_after_a_plan():
    pairs = [replace(p, wear_days_left=20) for p in plain(6)]
    plan = make_plan(pairs, Wishes(weeks=12, week=("business",) * 7), START)
    left = left_at_end(plan.rack, plan.worn, plan.sent)
    near = left < plan.rack.quarter_wears
    alone = make_plan(pairs, Wishes(weeks=12, week=("business",) * 7, aims=Aims(spread=0)), START)
    before = left_at_end(alone.rack, alone.worn, alone.sent) < alone.rack.quarter_wears
    assert near.sum() < before.sum()


def test_a_solver_stopped_before_it_has_a_bound_gets_the_obvious_one(monkeypatch):
    programme = LinearProgram()
    terms = [(programme.variable(gain, high), 1.0) for gain, high in ((2.0, 3.0), (-1.0, np.inf))]
    programme.row(terms, most=10.0)
    stopped = SimpleNamespace(x=np.zeros(2), fun=0.0, mip_dual_bound=-np.inf, status=1)
    monkeypatch.setattr(milp_builder, "milp", lambda *_, **__: stopped)
    answer = programme.solve()
    assert answer.bound == 6.0
    assert not answer.proven


def test_a_day_without_a_pair_has_none_and_not_a_number():
    days = make_plan([PairState("p0", 3, 60)], Wishes(weeks=3), START).days
    assert {type(pair) for pair in days["pair_id"]} == {str, type(None)}


def test_a_pair_with_no_day_in_the_plan_does_not_forbid_it_by_its_long_way_to_a_new_sole():
    boot = PairState("boot", 0, 80, dress_code="outdoor", lead_days=49)
    plan = make_plan([*plain(3), boot], Wishes(weeks=2), START)
    assert not plan.given_up


def test_a_plan_shorter_than_the_way_to_a_new_sole_sends_the_pair_and_plans_with_the_others():
    pairs = [*plain(3), PairState("boot", 0, 80, lead_days=49)]
    plan = make_plan(pairs, Wishes(weeks=2), START)
    assert_kept(plan)
    assert not plan.given_up
    assert list(plan.sends["pair_id"]) == ["boot"]
