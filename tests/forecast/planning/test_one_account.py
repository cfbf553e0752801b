"""Do list, plan, what-if, life and workload reckon with the same use, however little is logged?"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearLog, WearModel, forecast
from solespan.forecast.planning import PairState, Wishes, make_plan, pair_reasons, what_if
from solespan.forecast.planning.allowance import wear_allowance
from solespan.forecast.planning.cost_of_ownership import cost_of_rack
from solespan.forecast.planning.rack import lay_out
from solespan.forecast.workload import due_table
from tests.forecast.builders import TODAY, log_of, pair_row, rack, sole_row, wear_rows

DAYS_PER_WEEK = 7
# of a median by 512 draws, and of use as a factor beside use as days: a gamma's median is under
# its mean
NEAR_SHARE, NEAR_DAYS = 0.15, 10


def silent(**of_pair: object) -> dict:
    pairs = [pair_row(p, "ada", **of_pair) for p in ("p", "q")]
    return {"pairs": pd.DataFrame(pairs), "soles": pd.DataFrame([sole_row("p"), sole_row("q")])}


RACKS: dict[str, Callable[[], dict]] = {
    "nothing logged": silent,
    "one wear logged": lambda: silent() | {"wear_days": pd.DataFrame(wear_rows("p", [360]))},
    "a stated pace": lambda: silent(wears_per_week=2.0),
    "an ordinary log": lambda: rack(3, seed=2),
}


@pytest.fixture(params=RACKS, scope="module")
def known(request):
    log = log_of(RACKS[request.param]())
    fit = WearModel(log, TODAY).fit()
    said = forecast(fit, log, TODAY)
    main = said[(said["foot"] == "pair") & (said["point"] == "ball")]
    return log, fit, main.set_index("pair_id"), wear_allowance(fit, log, TODAY)


def states_of(log: WearLog, allowance: pd.DataFrame) -> list[PairState]:
    return [
        PairState(
            row["pair_id"],
            int(row["wear_days_left_p50"]),
            int(row["wear_days_new"]),
            wears_per_week=row["wear_days_per_week"],
        )
        for row in allowance.to_dict("records")
    ]


def test_the_list_and_what_if_as_now_say_the_same_dates(known):
    log, fit, listed, _ = known
    now = what_if(fit, log, TODAY).set_index("pair_id")
    for name in ("due_p10", "due_p50", "due_p90", "send_by"):
        for when in ("now", "then"):
            pd.testing.assert_series_equal(
                now[f"{name}_{when}"], listed.loc[now.index, name], check_names=False
            )


def test_wear_days_left_at_the_present_pace_end_on_the_median_date(known):
    _, _, listed, allowance = known
    checked = 0
    for row in allowance.to_dict("records"):
        due = listed.loc[row["pair_id"], "due_p50"]
        if pd.isna(due):
            continue
        days = DAYS_PER_WEEK * row["wear_days_left_p50"] / row["wear_days_per_week"]
        assert days == pytest.approx((due - TODAY).days, rel=NEAR_SHARE, abs=NEAR_DAYS)
        checked += 1
    assert checked


def test_life_wears_each_pair_at_the_lists_pace_and_the_workload_draws_the_lists_dates(known):
    log, fit, listed, allowance = known
    life = cost_of_rack(log, allowance, {}).set_index("pair_id")
    expected = what_if(fit, log, TODAY).set_index("pair_id")["wear_days_365d_now"]
    drawn = due_table(listed.reset_index(), log.soles, log.pairs)
    for i, pair in enumerate(drawn.rows["pair_id"]):
        assert life.loc[pair, "wears_per_year"] == pytest.approx(expected[pair], rel=0.12)
        middle = drawn.quantile_days[i, drawn.quantile_days.shape[1] // 2]
        due = listed.loc[pair, "due_p50"]
        if pd.notna(due):
            assert middle == pytest.approx((due - TODAY).days, abs=3)


def test_a_plan_without_wishes_wears_each_pair_as_often_as_the_list_reckons(known):
    log, _, _, allowance = known
    states = states_of(log, allowance)
    asked = lay_out(states, Wishes(weeks=52, wear="as now"), TODAY + pd.Timedelta(days=1))
    weeks = asked.days / DAYS_PER_WEEK
    for state, share in zip(asked.states, asked.target, strict=True):
        assert share == pytest.approx(state.wears_per_week * weeks, rel=0.1, abs=1.5)


def test_a_plan_that_wears_a_pair_more_often_than_the_list_says_so():
    pairs = [PairState(f"p{i}", 90, 90, wears_per_week=0.3) for i in range(3)]
    start = TODAY + pd.Timedelta(days=1)
    often = pair_reasons(make_plan(pairs, Wishes(weeks=4), start))["reason"]
    assert often.str.contains("more often than now").all()
    as_now = pair_reasons(make_plan(pairs, Wishes(weeks=8, wear="as now"), start))["reason"]
    assert not as_now.str.contains("than now").any()
    assert np.isclose(sum(p.wears_per_week for p in pairs), 0.9)
