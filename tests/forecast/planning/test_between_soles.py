"""Are routes, care and cost reckoned as an owner would with pencil and paper?"""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.planning import (
    BadPlan,
    CareRule,
    LifeSettings,
    Route,
    compare_routes,
    cost_of_rack,
    due_care,
    needs_of,
)
from solespan.forecast.planning.care import DEFAULT_RULES, UPPERS
from solespan.forecast.planning.cost_of_ownership import usual_currency
from solespan.forecast.planning.resole_options import DEFAULT_ROUTES, Need
from tests.forecast.builders import TODAY, log_of, pair_row, sole_row, wear_rows

NEED = Need(("leather_sole",), ("it has a leather sole",))


def compared(routes=DEFAULT_ROUTES, **more):
    asked = {"need": NEED, "construction": "goodyear_welted", "today": TODAY, "send_by": None}
    return compare_routes(routes, **asked | more).set_index("route_id")


@pytest.mark.parametrize("route", DEFAULT_ROUTES, ids=lambda r: r.route_id)
def test_a_lead_time_has_the_two_quantiles_that_were_given(route):
    assert route.chance_within(route.lead_days_p50) == pytest.approx(0.5)
    assert route.chance_within(route.lead_days_p90) == pytest.approx(0.9)
    assert (route.lead_days(0.5), route.lead_days(0.9)) == (
        route.lead_days_p50,
        route.lead_days_p90,
    )
    chances = [route.chance_within(days) for days in range(-1, 200, 7)]
    assert chances == sorted(chances)


def test_the_latest_day_to_send_gives_the_chance_asked_for_and_a_day_later_does_not():
    occasion = TODAY + pd.Timedelta(days=120)
    row = compared(occasion=occasion, chance=0.9).loc["specialist"]
    route = next(r for r in DEFAULT_ROUTES if r.route_id == "specialist")
    days = (occasion - row["latest_send_on"]).days
    assert route.chance_within(days) >= 0.9 - 1e-9 > route.chance_within(days - 1)
    assert row["chance_back"] >= 0.9 - 1e-9


def test_a_quick_route_is_likelier_back_than_a_slow_one_and_too_late_is_said():
    frame = compared(occasion=TODAY + pd.Timedelta(days=40))
    assert frame.loc["local", "chance_back"] > frame.loc["maker", "chance_back"]
    assert pd.isna(frame.loc["maker", "latest_send_on"])
    assert "too late" in frame.loc["maker", "sentence"]


def test_a_pair_handed_over_after_the_occasion_is_there_for_it():
    frame = compared(send_by=TODAY + pd.Timedelta(days=200), occasion=TODAY + pd.Timedelta(days=20))
    assert (frame["chance_back"] == 1.0).all()


def test_the_days_follow_one_another_from_asking_to_having_it_back():
    frame = compared(send_by=TODAY + pd.Timedelta(days=60))
    order = ["book_by", "hand_over_on", "back_on_p50", "back_on_p90"]
    for one, other in itertools.pairwise(order):
        assert (frame[one] <= frame[other]).all()


def test_a_route_that_cannot_do_the_work_says_what_it_lacks_and_stands_last():
    need = needs_of(
        material="oak_bark_leather", channel="closed", construction="hand_welted", seams=4
    )
    frame = compared(need=need)
    assert not frame.loc["local", "can_do"]
    assert "closed channel" in frame.loc["local", "lacks"]
    assert frame.index[-1] == "local"
    base = next(r for r in DEFAULT_ROUTES if r.route_id == "specialist")
    assert frame.loc["specialist", "price_minor"] == base.price_minor + base.rewelt_price_minor


@pytest.mark.parametrize(
    "wrong",
    [{"lead_days_p50": 9, "lead_days_p90": 8}, {"wait_days": -1}, {"abilities": ("magic",)}],
)
def test_a_route_that_cannot_be_is_refused_by_field(wrong):
    fields = {"wait_days": 1, "lead_days_p50": 7, "lead_days_p90": 9, "price_minor": 1} | wrong
    with pytest.raises(BadPlan) as refused:
        Route("r", "r", **fields)
    assert refused.value.field in wrong


def worn(pair_id: str, days_ago: list[int], *, wet: bool = False) -> pd.DataFrame:
    days = [TODAY - pd.Timedelta(days=k) for k in days_ago]
    return pd.DataFrame({"pair_id": pair_id, "worn_on": days, "wet": wet})


NEVER = pd.DataFrame({"pair_id": [], "care": [], "done_on": pd.Series([], dtype="datetime64[s]")})


def cares(wear, upper="smooth_calf", done=NEVER, rules=DEFAULT_RULES):
    return due_care(wear, done, {"oxford": upper}, rules, today=TODAY).set_index("care")


def test_a_rule_is_due_exactly_when_the_wears_it_counts_are_there():
    rules = [CareRule("condition", "smooth_calf", every_wears=8)]
    assert cares(worn("oxford", list(range(1, 8))), rules=rules).empty
    due = cares(worn("oxford", list(range(1, 9))), rules=rules)
    assert due.loc["condition", "since"] == TODAY - pd.Timedelta(days=1)


def test_care_that_was_done_counts_anew():
    wear = worn("oxford", list(range(1, 11)))
    done = pd.DataFrame(
        {"pair_id": ["oxford"], "care": ["condition"], "done_on": [TODAY - pd.Timedelta(days=2)]}
    )
    rules = [CareRule("condition", "smooth_calf", every_wears=8)]
    assert "condition" in cares(wear, rules=rules).index
    assert cares(wear, rules=rules, done=done).empty


def test_a_wet_day_asks_for_drying_only_for_some_days_after():
    assert "dry_slowly" in cares(worn("oxford", [1], wet=True)).index
    assert "dry_slowly" not in cares(worn("oxford", [9], wet=True)).index
    assert "dry_slowly" not in cares(worn("oxford", [1])).index


def test_uppers_differ_suede_is_never_conditioned_and_shell_seldom():
    wear = worn("oxford", list(range(1, 13)))
    due = {upper: set(cares(wear, upper).index) for upper in UPPERS}
    assert "condition" in due["smooth_calf"]
    assert "condition" not in due["suede"] | due["shell"]
    assert "brush" in due["suede"]


def test_a_rule_of_the_year_is_due_only_in_its_months():
    months = [m for m in range(1, 13) if m != TODAY.month]
    rules = [CareRule("waterproof", "suede", every_wears=1, months=tuple(months))]
    assert cares(worn("oxford", [1]), "suede", rules=rules).empty


def test_a_heel_near_its_limit_is_to_be_looked_at_whatever_was_counted():
    near = pd.DataFrame(
        {"pair_id": ["oxford"], "foot": ["pair"], "point": ["heel"], "send_by": [TODAY]}
    )
    due = due_care(
        worn("oxford", [1]), NEVER, {"oxford": "suede"}, [], today=TODAY, heel_and_toe=near
    )
    assert list(due["care"]) == ["look_at_top_piece"]


def rack_of(**pair):
    jobs = pd.DataFrame(
        {
            "job_id": ["j"],
            "pair_id": ["oxford"],
            "work": ["full_sole"],
            "received_on": [pd.Timestamp("2025-06-01")],
            "price_minor": [12_000],
            "currency": ["EUR"],
        }
    )
    row = pair_row("oxford", price_minor=40_000, currency="EUR") | pair
    return log_of(
        {
            "pairs": pd.DataFrame([row]),
            "soles": pd.DataFrame([sole_row("oxford")]),
            "wear_days": pd.DataFrame(wear_rows("oxford", range(1, 101))),
            "bench_jobs": jobs,
        }
    )


ALLOWANCE = pd.DataFrame(
    {"pair_id": ["oxford"], "wear_days_per_week": [2.0], "wear_days_new_mean": [120.0]}
)


@pytest.mark.slow
def test_cost_per_wear_is_price_and_repairs_over_wears():
    row = cost_of_rack(rack_of(), ALLOWANCE, {"oxford": 15_000}).iloc[0]
    assert row["cost_per_wear_minor"] == pytest.approx((40_000 + 12_000) / 100)
    assert row["soles_per_year"] == pytest.approx(2.0 * 365.25 / 7 / 120)
    assert row["cost_per_year_minor"] == pytest.approx(row["soles_per_year"] * 15_000)
    assert "1.25 EUR a wear" in row["arithmetic"]


def test_every_resole_takes_one_from_what_the_welt_stands_and_the_last_says_so():
    settings = LifeSettings(resoles_stood={"goodyear_welted": 3})
    words = {}
    for so_far in range(4):
        row = cost_of_rack(
            rack_of(earlier_resoles=so_far),
            ALLOWANCE,
            {"oxford": 9_000},
            states={"oxford": "book in"},
            settings=settings,
        ).iloc[0]
        assert row["resoles_left"] == 3 - so_far
        words[so_far] = (row["verdict"], row["next_sole"])
    send = ("send", "resole")
    # the third would need a new welt, that no way of this rack brings
    assert words == {0: send, 1: send, 2: ("rewelt", "rewelt"), 3: ("retire", "retire")}


def test_a_sole_dearer_than_wearing_a_new_pair_is_not_advised():
    row = cost_of_rack(rack_of(price_minor=8_000), ALLOWANCE, {"oxford": 30_000}).iloc[0]
    assert row["next_sole"] == "retire"
    assert row["cost_per_year_minor"] == 0


def test_money_in_another_currency_is_left_out_and_named():
    row = cost_of_rack(rack_of(currency="USD"), ALLOWANCE, {"oxford": 9_000}).iloc[0]
    assert row["currency"] == "EUR"
    assert np.isnan(row["cost_per_wear_minor"])
    assert "Not counted: 1 amount in another currency than EUR." in row["arithmetic"]


def test_an_owner_has_one_currency_and_a_missing_price_is_none_of_its_own():
    assert usual_currency(rack_of(price_minor=np.nan, currency=None)) == "EUR"
    bare = rack_of(price_minor=np.nan, currency=None)
    row = cost_of_rack(bare, ALLOWANCE, {}, currency="EUR").iloc[0]
    assert row["currency"] == "EUR"
