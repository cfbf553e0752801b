"""Do the parameters of a truth appear in a large sample of its world?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from solespan.synthetic_data import Simulated, Truth, simulate, world
from solespan.synthetic_data.pairs import draw_pairs, draw_wearers
from solespan.synthetic_data.truth import described, varied
from solespan.synthetic_data.wear_process import log_rates, worn_mm

TRUTH = replace(Truth(), checker_shares=(0.3, 0.3, 0.4, 0.0), check_days=(40.0,) * 4)


@pytest.fixture(scope="module")
def sample() -> Simulated:
    return simulate(TRUTH, np.random.default_rng(11), n_pairs=700, horizon_days=0)


@pytest.fixture(scope="module")
def checks(sample: Simulated) -> pd.DataFrame:
    key = ["pair_id", "checked_on", "foot", "point", "method"]
    return sample.frames["checks"].merge(sample.hidden_checks, on=key, validate="one_to_one")


def drawn_rates(truth: Truth, n_pairs: int = 30_000) -> tuple[np.ndarray, np.ndarray]:
    """Log rates (pairs, 2, 3) and whose they are."""
    rng = np.random.default_rng(5)
    wearers = draw_wearers(truth, rng, n_pairs=n_pairs, history_days=1000)
    pairs = draw_pairs(truth, wearers, rng, history_days=1000)
    return log_rates(truth, wearers, pairs, np.full(n_pairs, 1)), pairs.wearer


def test_log_rates_vary_between_wearers_pairs_and_feet_as_stated():
    truth = replace(Truth(), driver_share=0.0)
    rates, wearer = drawn_rates(truth)
    ball = pd.DataFrame(rates[:, :, 0]).assign(wearer=wearer)
    difference = ball[1] - ball[0]
    assert difference.std() == pytest.approx(
        np.hypot(truth.sd_asymmetry, np.sqrt(2) * truth.sd_foot_of_pair), rel=0.04
    )
    mean = (ball[0] + ball[1]) / 2
    within = mean.groupby(ball["wearer"]).var().mean()
    assert within == pytest.approx(truth.sd_pair**2 + truth.sd_foot_of_pair**2 / 2, rel=0.06)
    assert mean.var() - within == pytest.approx(truth.sd_wearer**2, rel=0.08)
    assert mean.median() == pytest.approx(np.log(truth.rate_mm), abs=0.03)


def test_the_driving_foot_wears_faster_by_the_stated_effect():
    truth = replace(Truth(), driver_share=1.0, driving_left_share=1.0, driving_ball=0.2)
    rates, _ = drawn_rates(truth)
    more = (rates[:, 0] - rates[:, 1]).mean(axis=0)
    assert more == pytest.approx([0.2, truth.driving_toe, truth.driving_heel], abs=0.01)


def test_gamma_rates_have_the_spread_of_the_lognormal_but_another_shape():
    truth = replace(Truth(), rate_family="gamma", sd_wearer=0.5, sd_pair=0.0)
    rates, _ = drawn_rates(truth)
    factor = np.exp(rates[:, 0, 0])
    assert factor.std() / factor.mean() == pytest.approx(np.sqrt(np.expm1(0.25)), rel=0.08)
    log = np.log(factor)
    assert ((log - log.mean()) ** 3).mean() < -0.02


def test_wear_has_mean_rate_times_exposure_and_variance_in_proportion():
    rng = np.random.default_rng(2)
    n = 40_000
    loss = worn_mm(
        TRUTH,
        np.full((n, 2, 3), np.log(0.02)),
        np.full(n, 1.5),
        np.tile([1.0, 0.0], (n, 1)),
        np.full(n, 60.0),
        rng,
    )
    assert (loss >= 0).all()
    assert loss[:, 1].mean() == pytest.approx(0.03, rel=0.01)
    assert loss[:, 0].mean() == pytest.approx(0.03 * (1 + TRUTH.driving_per_hour), rel=0.01)
    assert loss.var(axis=0) == pytest.approx(loss.mean(axis=0) * TRUTH.step_mm, rel=0.05)


def test_soles_lose_packing_and_rate_times_exposure(sample: Simulated):
    wear = sample.hidden_wear.astype({"sole_id": object})
    exposure = wear.groupby("sole_id")["exposure_wear_days"].sum().rename("exposure")
    ends = sample.hidden_thickness.astype({"sole_id": object, "foot": object, "point": object})
    ends = ends[ends["point"] == "ball"].groupby(["sole_id", "foot"])["thickness_mm"]
    lost = (ends.first() - ends.last()).rename("lost").reset_index().merge(exposure, on="sole_id")
    rates = sample.rates[sample.rates["point"] == "ball"]
    soles = sample.frames["soles"][["sole_id", "material"]]
    rows = lost.merge(rates, on=["sole_id", "foot"]).merge(soles, on="sole_id")
    rows = rows[(rows["exposure"] > 30) & (rows["lost"] < 3.5)]
    beyond = rows["lost"] - rows["rate_mm_per_wear_day"] * rows["exposure"]
    leather = rows["material"].str.endswith("leather")
    assert beyond[leather].median() == pytest.approx(0.25, abs=0.03)
    assert beyond[~leather].median() == pytest.approx(0.0, abs=0.03)


def test_soles_start_about_a_fifth_of_a_millimetre_round_nominal(sample: Simulated):
    start = sample.hidden_thickness.drop_duplicates(["sole_id", "foot", "point"])
    start = start[start["point"] == "ball"].astype({"sole_id": object})
    both = start.merge(sample.frames["soles"], on="sole_id")
    off = both["thickness_mm"] - both["nominal_thickness_mm"]
    assert off.std() == pytest.approx(0.2, abs=0.02)
    assert off.mean() == pytest.approx(0.0, abs=0.03)


def test_gauges_err_by_their_sd_and_the_wearers_bias(checks: pd.DataFrame, sample: Simulated):
    bias = sample.hidden_wearers.set_index("wearer_id")["gauge_bias_mm"]
    owner = sample.frames["pairs"].set_index("pair_id")["wearer_id"]
    read = checks[checks["value_mm"].notna() & ~checks["slip"] & (checks["true_mm"] > 0.8)]
    error = read["value_mm"] - read["true_mm"] - read["pair_id"].map(owner).map(bias)
    by_method = error.groupby(read["method"]).std()
    assert by_method["caliper"] == pytest.approx(TRUTH.sd_caliper_mm, rel=0.06)
    assert by_method["depth_gauge"] == pytest.approx(TRUTH.sd_gauge_mm, rel=0.1)
    assert bias.std() == pytest.approx(TRUTH.sd_gauge_bias_mm, rel=0.3)


def test_about_one_reading_in_a_hundred_is_grossly_wrong(checks: pd.DataFrame):
    read = checks[checks["value_mm"].notna()]
    assert read["slip"].mean() == pytest.approx(TRUTH.slip_share, rel=0.35)
    gross = (read["value_mm"] - read["true_mm"]).abs() > 0.8
    assert gross.sum() == pytest.approx(read["slip"].sum(), rel=0.15)


def test_thumb_grades_change_at_the_cut_points_and_a_hole_is_certain(checks: pd.DataFrame):
    pressed = checks[checks["grade"].notna()]
    firm, give = TRUTH.grade_cuts_mm
    at_firm = pressed[(pressed["true_mm"] - firm).abs() < 0.15]
    assert (at_firm["grade"] == "firm").mean() == pytest.approx(0.5, abs=0.12)
    at_give = pressed[(pressed["true_mm"] - give).abs() < 0.15]
    assert (at_give["grade"] == "soft").mean() == pytest.approx(0.5, abs=0.12)
    pd.testing.assert_series_equal(
        pressed["grade"] == "hole", pressed["true_mm"] <= 0.0, check_names=False
    )


def test_the_waist_is_as_thick_as_the_new_sole(checks: pd.DataFrame, sample: Simulated):
    waist = checks[checks["point"] == "waist"]
    new = sample.hidden_thickness.drop_duplicates(["sole_id", "foot", "point"])
    new = new[new["point"] == "ball"].astype({"sole_id": object, "foot": object})
    both = waist.merge(new, on=["sole_id", "foot"])
    assert len(both) > 100
    assert (both["true_mm"] == both["thickness_mm"]).all()


def test_wear_days_go_unlogged_at_each_wearers_own_share(sample: Simulated):
    owner = sample.frames["pairs"].set_index("pair_id")["wearer_id"]
    wear = sample.hidden_wear
    logged = wear.groupby(wear["pair_id"].astype(object).map(owner))["logged"].mean()
    told = 1.0 - sample.hidden_wearers.set_index("wearer_id")["forgotten_share"]
    lacking = (told - logged).dropna()
    assert lacking.median() == pytest.approx(0.0, abs=0.02)
    assert lacking.max() > 0.05
    assert 1.0 - told.mean() == pytest.approx(TRUTH.forgotten_mean, abs=0.03)


def test_a_wet_day_counts_by_the_wet_factor_and_other_conditions_by_theirs(sample: Simulated):
    wear = sample.hidden_wear
    per_hour = wear["exposure_wear_days"] / wear["hours"] * 8.0
    counts = set(np.round(per_hour, 6))
    grounds = {1.0, TRUTH.rough_factor}
    expected = {TRUTH.indoor_factor, *grounds, *(g * TRUTH.wet_factor for g in grounds)}
    for _, factor in TRUTH.other_factors:
        expected |= {factor * other for other in expected}
    assert counts == set(np.round(list(expected), 6))


def test_unlogged_wear_makes_the_rate_per_logged_day_the_larger(sample: Simulated):
    ratio = sample.rates["rate_mm_per_logged_wear_day"] / sample.rates["rate_mm_per_wear_day"]
    assert ratio.mean() > 1.05
    plain = world("plain_logging", 3, n_pairs=60, horizon_days=0).rates
    ratio = plain["rate_mm_per_logged_wear_day"] / plain["rate_mm_per_wear_day"]
    assert ratio.to_numpy() == pytest.approx(1.0, abs=0.02)


def test_defaults_lie_near_the_published_boys_shoes():
    """Box, Hunter and Hunter (1978): log SD 0.243 between boys, 0.026 within a pair.

    Plausibility only: synthetic soles, ten boys, and no exposure was recorded.
    """
    truth = Truth()
    assert 0.5 < truth.sd_wearer / 0.243 < 2.0
    assert 0.5 < truth.sd_foot_of_pair / 0.026 < 2.0


def test_worlds_vary_in_level_but_stay_in_the_trades_ranges():
    """Ranges of rates (0.005-0.06 mm) and of wet wear (1.3-3): common practice, no source."""
    worlds = [varied(Truth(), np.random.default_rng(seed)) for seed in range(200)]
    assert all(0.005 < w.rate_mm < 0.06 and 1.3 <= w.wet_factor <= 3.0 for w in worlds)
    assert len({w.wet_factor for w in worlds}) > 150


def test_every_parameter_says_its_unit_and_where_it_comes_from():
    for name, entry in described(Truth()).items():
        assert entry["unit"], name
        assert entry["source"], name
