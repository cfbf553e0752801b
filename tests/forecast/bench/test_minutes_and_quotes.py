"""Do minutes lean on the shop's record as it grows, and does a quote follow the pair's state?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.bench.minutes import fit_minutes, work_times
from solespan.forecast.bench.quoting import PairState, needs_of, quote
from solespan.forecast.bench.shoe_record import FootRecord, ShoeRecord, Tolerances, mismatches
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.errors import BadFrame

PRICES = {w: s.price_minor for w, s in STANDARDS.items()}


def timed(minutes, work="full_sole", worker=None) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "work": work,
            "construction": "goodyear_welted",
            "bench_minutes": minutes,
            "worker": worker,
        }
    )


def test_with_no_record_the_standards_hold_and_with_many_jobs_the_shop():
    nothing = fit_minutes(timed([np.nan]))
    assert nothing.median("full_sole", "goodyear_welted") == 130
    many = fit_minutes(timed([200.0] * 200))
    assert many.median("full_sole", "goodyear_welted") == pytest.approx(200, rel=0.01)
    few = fit_minutes(timed([200.0] * 2)).median("full_sole", "goodyear_welted")
    assert 140 < few < 195
    assert many.median("top_piece", "goodyear_welted") == 20


def test_what_the_shop_says_holds_until_its_jobs_say_otherwise():
    said = {"full_sole": 150.0}
    without = fit_minutes(timed([np.nan]), said)
    assert without.median("full_sole", "goodyear_welted") == pytest.approx(150)
    assert without.median("top_piece", "goodyear_welted") == pytest.approx(
        fit_minutes(timed([np.nan])).median("top_piece", "goodyear_welted")
    )
    many = fit_minutes(timed([100.0] * 60), said).median("full_sole", "goodyear_welted")
    assert 100 < many < 105


def test_a_quick_worker_is_told_from_a_slow_one_and_a_stranger_is_average():
    jobs = pd.concat([timed([100.0] * 40, worker="Mo"), timed([160.0] * 40, worker="Zoe")])
    learnt = fit_minutes(jobs.reset_index(drop=True))
    mo, zoe, new = (
        learnt.median("full_sole", "goodyear_welted", who) for who in ("Mo", "Zoe", "Ida")
    )
    assert mo < new < zoe
    assert zoe / mo == pytest.approx(1.6, rel=0.08)


def test_eight_in_ten_of_a_shops_next_jobs_fall_into_the_interval():
    rng = np.random.default_rng(5)
    inside = []
    for _ in range(150):
        level = 130 * rng.lognormal(0, 0.3)
        past = level * rng.lognormal(0, 0.25, 5)
        low, high = fit_minutes(timed(past)).interval("full_sole", "goodyear_welted")
        inside.append(np.mean((level * rng.lognormal(0, 0.25, 40) <= high)
                              & (level * rng.lognormal(0, 0.25, 40) >= low)))  # fmt: skip
    assert np.mean(inside) == pytest.approx(0.80, abs=0.05)


def test_negative_minutes_are_refused_and_hand_sewn_takes_longer():
    with pytest.raises(BadFrame, match="negative"):
        fit_minutes(timed([-1.0]))
    times = [work_times(fit_minutes(timed([np.nan])), {c: 1.0}, {}).minutes[0]
             for c in ("goodyear_welted", "hand_welted")]  # fmt: skip
    assert times[1] > 2 * times[0]


def state(**changes) -> PairState:
    usual = {
        "construction": "goodyear_welted",
        "material": "oak_bark_leather",
        "thickness_mm": {"ball": 4.0, "heel": 5.0, "toe": 4.0},
        "rate_mm_per_wear_day": {"ball": 0.02, "heel": 0.02, "toe": 0.01},
    }
    return PairState(**{**usual, **changes})


def test_a_sound_pair_needs_nothing():
    assert quote(state(), fit_minutes(timed([np.nan])), PRICES) == []


def test_each_fault_calls_for_its_work():
    worn = {"ball": 2.1, "heel": 5.0, "toe": 4.0}
    assert needs_of(state(thickness_mm=worn)).works.keys() == {"full_sole"}
    assert needs_of(state(hole=True)).works == {"full_sole": "a hole at the ball"}
    assert needs_of(state(parts={"welt": "broken"})).works.keys() == {"rewelt"}
    assert needs_of(state(thickness_mm=worn, parts={"welt": "worn"})).works.keys() == {"rewelt"}
    assert needs_of(state(parts={"heel_block": "missing"})).works.keys() == {"heel_block"}
    heel = {"ball": 4.0, "heel": 2.2, "toe": 4.0}
    assert needs_of(state(thickness_mm=heel)).works.keys() == {"top_piece"}
    toe = {"ball": 4.0, "heel": 5.0, "toe": 2.1}
    assert needs_of(state(thickness_mm=toe)).works.keys() == {"toe_piece"}


def test_repairing_early_buys_fewer_wear_days():
    minutes = fit_minutes(timed([np.nan]))
    late, early = (
        quote(state(thickness_mm={"ball": mm, "heel": 5.0}), minutes, PRICES)[0]
        for mm in (2.0, 2.5)
    )
    assert early.wear_days_bought == pytest.approx(late.wear_days_bought - 25)


def shoe(**changes) -> FootRecord:
    usual = {"thickness_mm": {"ball": 5.0, "waist": 4.8}, "width_mm": {"ball": 78.0}}
    return FootRecord(**{**usual, **changes})


SAME = ShoeRecord(shoe(), shoe())


def test_a_pair_like_its_record_has_nothing_out_and_a_worn_ball_is_not_compared():
    worn = ShoeRecord(shoe(thickness_mm={"ball": 2.0, "waist": 4.8}), shoe())
    assert mismatches(worn, SAME, Tolerances()) == []


@pytest.mark.parametrize(("width", "out"), [(78.5, 0), (78.6, 2), (77.4, 2)])
def test_a_width_may_differ_by_half_a_millimetre_and_no_more(width, out):
    after = ShoeRecord(shoe(), shoe(width_mm={"ball": width}))
    assert len(mismatches(SAME, after, Tolerances())) == out


@pytest.mark.parametrize(("ball", "out"), [(5.3, 0), (5.31, 1)])
def test_left_and_right_may_differ_by_three_tenths_in_thickness(ball, out):
    after = ShoeRecord(shoe(), shoe(thickness_mm={"ball": ball, "waist": 4.8}))
    assert len(mismatches(SAME, after, Tolerances())) == out


def test_a_measure_taken_before_and_not_after_is_out():
    after = ShoeRecord(shoe(width_mm={}), shoe())
    (found,) = mismatches(SAME, after, Tolerances())
    assert (found.measure, found.found) == ("left width at ball", None)


def test_small_layers_that_add_up_to_a_crooked_heel_are_out():
    before = ShoeRecord(shoe(heel_layers_mm=(6, 4, 4)), shoe(heel_layers_mm=(6, 4, 4)))
    after = ShoeRecord(shoe(heel_layers_mm=(6, 4, 4)), shoe(heel_layers_mm=(6.2, 4.2, 4.2)))
    assert {m.measure for m in mismatches(before, after, Tolerances())} == {
        "heel height",
        "right heel height",
    }


def test_the_heels_shape_and_the_layers_at_the_edge_come_back_as_they_were():
    before = ShoeRecord(
        shoe(heel_shape="straight", layers_mm={"welt": 3.0}),
        shoe(heel_shape="straight", layers_mm={"welt": 3.0}),
    )
    same = ShoeRecord(before.left, shoe(heel_shape="Straight", layers_mm={"welt": 3.2}))
    assert mismatches(before, same, Tolerances()) == []
    after = ShoeRecord(before.left, shoe(heel_shape="tapered", layers_mm={"welt": 3.5}))
    found = {m.measure for m in mismatches(before, after, Tolerances())}
    assert found == {"right heel shape", "right welt thickness", "welt thickness"}
