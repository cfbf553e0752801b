"""Do works of one visit go together as a bench does them, in price, minutes and the log?"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.bench.findings import PairState
from solespan.forecast.bench.minutes import fit_minutes
from solespan.forecast.bench.quoting import Alternative, quote, quote_visit
from solespan.forecast.bench.standards import STANDARDS, Job, drying_of
from solespan.forecast.bench.visits import NEW_SOLES, clashes, completed, main_work, works_of
from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import WORKS
from solespan.forecast.log import wear_log
from solespan.forecast.panel.log_arrays import log_arrays
from solespan.forecast.priors import MATERIAL_RATE

PRICES = {work: one.price_minor for work, one in STANDARDS.items()}
NOBODY = pd.DataFrame({"work": ["sock"], "construction": ["blake"], "bench_minutes": [np.nan]})
MINUTES = fit_minutes(NOBODY)


def state(**changes: Any) -> PairState:
    usual: dict[str, Any] = {
        "construction": "goodyear_welted",
        "material": "veg_tan_leather",
        "new_mm": 5.0,
        "thickness_mm": {"ball": 2.0, "heel": 5.0, "toe": 4.0},
        "rate_mm_per_wear_day": {"ball": 0.02, "heel": 0.02, "toe": 0.01},
    }
    return PairState(**{**usual, **changes})


def whole(*works: str, **changes: Any) -> Alternative:
    return quote_visit(state(**changes), works, MINUTES, PRICES)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"hole": True, "thickness_mm": {"ball": 1.5, "heel": 2.2, "toe": 2.1}},
        {"seams": 3, "resoles": 2},
        {"parts": {"shank": "broken", "heel_block": "broken"}},
        {"parts": {"top_piece": "missing"}},
    ],
)
def test_a_way_of_the_quote_chosen_work_by_work_is_the_same_way(changes):
    pair = state(**changes)
    for way in quote(pair, MINUTES, PRICES):
        for works in itertools.islice(itertools.permutations(way.works), 6):
            same = quote_visit(pair, works, MINUTES, PRICES)
            assert set(same.works) == set(way.works)
            assert same.price_minor == way.price_minor
            assert same.minutes == pytest.approx(way.minutes)
            assert same.wear_days_bought == pytest.approx(way.wear_days_bought)


@pytest.mark.parametrize(
    ("works", "minutes", "price", "days"),
    [
        (("half_sole", "top_piece"), 70 + 20, 6500 + 2800, 135),
        (("full_sole", "shank"), 130 + 10, 11000 + 557, 150),
        (("full_sole", "top_piece", "restitch", "toe_piece"), 130, 11000, 150),
        (("rewelt", "full_sole", "sock"), 190 + 8, 20000 + 900, 150),
        (("heel_block", "top_piece", "sock"), 45 + 8, 4500 + 900, 0),
    ],
)
def test_visits_worked_out_by_hand(works, minutes, price, days):
    way = whole(*works)
    assert (round(way.minutes, 6), way.price_minor) == (minutes, price)
    assert way.wear_days_bought == pytest.approx(days)
    assert way.works[0] == main_work(way.works)


def test_a_half_sole_brings_the_top_piece_that_is_due_too():
    way = whole("half_sole", thickness_mm={"ball": 2.0, "heel": 2.3, "toe": 4.0})
    assert way.works == ("half_sole", "top_piece")
    assert way.uses["top_piece"] == 1


@pytest.mark.parametrize(
    ("works", "changes", "words"),
    [
        (("full_sole", "half_sole"), {}, "no place"),
        (("half_sole",), {"parts": {"cork": "wet"}}, "cork is wet"),
        (("half_sole",), {"material": "rubber", "cover": "guard", "new_mm": 1.8}, "guard"),
        (("rewelt", "sock"), {"construction": "cemented"}, "no welt"),
        ((), {}, "none"),
        (("polish",), {}, "is no work"),
    ],
)
def test_works_that_cannot_stand_together_say_why(works, changes, words):
    with pytest.raises(BadHorizon, match=words):
        whole(*works, **changes)


def test_a_mended_shank_lets_a_half_sole_stand():
    broken = {"parts": {"shank": "broken"}}
    assert list(clashes(state(**broken), ("half_sole",)))
    assert whole("half_sole", "shank", **broken).works == ("half_sole", "shank")


def test_completing_twice_changes_nothing_and_one_sole_at_most_is_fitted():
    rng = np.random.default_rng(4)
    for _ in range(200):
        works = [w for w in WORKS if rng.random() < 0.3]
        pair = state(thickness_mm={"ball": 2.0, "heel": float(rng.uniform(2, 6)), "toe": 3.0})
        if not works or list(clashes(pair, works)):
            continue
        once = completed(pair, dict.fromkeys(works, "chosen"))
        assert completed(pair, once) == once
        assert sum(work in once for work in NEW_SOLES) <= 1


def test_a_job_of_several_works_is_held_against_all_of_them():
    alone = pd.DataFrame(
        {"work": "half_sole", "construction": "goodyear_welted", "bench_minutes": [70.0] * 30}
    )
    beside = alone.assign(more_works="top_piece sock", bench_minutes=70.0 + 20 + 8)
    medians = [fit_minutes(one).median("half_sole", "goodyear_welted") for one in (alone, beside)]
    assert medians == pytest.approx([70.0, 70.0])


def test_a_top_piece_among_further_works_begins_the_heel_anew():
    pairs = pd.DataFrame({"pair_id": ["p"], "wearer_id": ["w"], "construction": ["blake"]})
    soles = pd.DataFrame(
        {"sole_id": ["s"], "pair_id": ["p"], "fitted_on": ["2026-01-01"],
         "material": ["rubber"], "nominal_thickness_mm": [5.0]}
    )  # fmt: skip
    days = {"received_on": "2026-05-01", "finished_on": "2026-05-03"}

    def renewed(**job: str) -> list[int]:
        jobs = pd.DataFrame([{"job_id": "j", "pair_id": "p", **days, **job}])
        log = wear_log(pairs, soles, bench_jobs=jobs)
        return list(log_arrays(log, pd.Timestamp("2026-06-01")).jobs.renewed)

    main = renewed(work="top_piece")
    assert renewed(work="half_sole", more_works="sock top_piece") == main
    assert renewed(work="half_sole", more_works="sock") != main


def test_a_wet_bottom_dries_before_anything_is_fitted():
    dry, wet = (whole("full_sole", parts={"cork": state}) for state in ("good", "wet"))
    assert (dry.waiting_hours, wet.waiting_hours) == (24, 24 + 60)


@pytest.mark.parametrize(
    ("works", "pair", "hours"),
    [
        (["full_sole"], {}, 24),
        (["full_sole"], {"construction": "blake"}, 12),
        (["full_sole"], {"construction": "cemented"}, 12),
        (["full_sole"], {"material": "lug_rubber", "new_mm": 9.0}, 24),
        (["half_sole", "sock"], {}, 12),
        (["heel_block"], {}, 4),
    ],
)
def test_the_slowest_work_of_a_visit_sets_its_wait(works, pair, hours):
    # Common practice, no source: drying and waiting by work.
    assert whole(*works, **pair).waiting_hours == hours


@pytest.mark.parametrize("work", ["full_sole", "half_sole", "rewelt"])
def test_a_guard_goes_on_a_new_sole_in_one_visit(work):
    """The guard is due first, and the price, minutes and hours are those of both."""
    alone, both = whole(work), whole(work, "guard")
    assert both.works == (work, "guard")
    assert both.price_minor == alone.price_minor + PRICES["guard"]
    assert both.minutes == pytest.approx(alone.minutes + STANDARDS["guard"].minutes)
    assert both.uses["cement"] == alone.uses["cement"] + 25
    assert both.waiting_hours == alone.waiting_hours + 12
    assert both.soles_left == alone.soles_left
    left = (1.8 - 0.4) / (0.02 * MATERIAL_RATE["rubber"] / MATERIAL_RATE["veg_tan_leather"])
    heel = {"half_sole": 5.0}.get(work, 6.0)
    assert both.wear_days_bought == pytest.approx(min(left, (heel - 2.0) / 0.02))


def test_hours_that_the_shop_set_hold_for_every_construction():
    for construction in ("goodyear_welted", "blake"):
        job = Job(construction, "veg_tan_leather")
        assert drying_of("full_sole", job, {"full_sole": 30.0}) == 30.0


def test_further_works_are_none_where_nothing_was_said():
    assert works_of("sock", None) == works_of("sock", np.nan) == ("sock",)
