"""Does the check of a fit see what is wrong with it, and keep quiet where nothing is?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearModel, diagnose
from solespan.forecast.explaining.residual_checks import residual_checks
from solespan.forecast.log import wear_log
from solespan.synthetic_data.scenarios import world
from tests.forecast.builders import TODAY, day, grade, log_of, pair_row, rack, sole_row, together
from tests.forecast.published import degradation_log

METAL = {"unit": "unit", "exposure": "cycles", "loss": "microns", "days": 1, "mm": 0.15}
LASER = {"unit": "unit", "exposure": "hours", "loss": "increase", "days": 0.1, "mm": 0.4}


def diagnosed(log):
    last = max(log.checks["checked_on"].max(), log.wear_days["worn_on"].max())
    return diagnose(WearModel(log, last).fit(), log, last)


@pytest.fixture(scope="module")
def usual(shared_fit, shared_log):
    return diagnose(shared_fit, shared_log, TODAY)


class TestWearThatIsNoLine:
    def test_sliding_metal_wear_is_flagged_as_slowing_down(self):
        # Meeker and Escobar, Statistical Methods for Reliability Data (1998): log-log slopes of
        # 0.17 to 0.21 in cycles, so nothing near a straight line
        found = diagnosed(degradation_log("metal_wear.csv", **METAL))
        assert found.curvature.flagged
        assert found.curvature.power < 0.6
        assert "slows down" in found.summary()

    def test_laser_degradation_is_a_line(self):
        # same book, table C.17: taken there, and by everybody since, as linear in hours
        found = diagnosed(degradation_log("laser_degradation.csv", **LASER))
        assert not found.curvature.flagged
        assert found.curvature.power == pytest.approx(1.0, abs=0.12)

    def test_straight_racks_are_lines(self, usual):
        assert not usual.curvature.flagged
        assert usual.curvature.power == pytest.approx(1.0, abs=0.15)

    @pytest.mark.slow
    @pytest.mark.parametrize("seed", range(5))
    @pytest.mark.parametrize("name", ["score_world", "unequal_forgetting", "second_soles"])
    def test_simulated_worlds_are_lines(self, name, seed, shared_fit):
        simulated = world(name, seed, n_pairs=80)
        log = wear_log(**simulated.frames)
        assert not diagnose(shared_fit, log, simulated.as_of).curvature.flagged

    def test_too_few_soles_tell_nothing_and_say_so(self):
        found = diagnosed(log_of(rack(1)))
        assert np.isnan(found.curvature.power)
        assert "Too few soles" in found.summary()


class TestReadings:
    def test_residuals_of_a_right_model_are_about_standard_normal(self, usual):
        caliper = usual.residuals.set_index("method").loc["caliper"]
        assert 160 <= caliper["readings"] <= 168, "nearly none is taken for a slip"
        assert abs(caliper["mean"]) < 0.2
        assert 0.6 < caliper["sd"] < 1.1
        assert caliper["share_beyond_3"] <= 0.01

    def test_a_slip_is_listed_with_what_fits_in_its_place(self, shared_fit):
        frames = rack(3)
        checks = frames["checks"]
        slip = (checks["pair_id"] == "ada-1") & (checks["checked_on"] == day(180))
        slip &= checks["foot"] == "right"
        was = float(checks.loc[slip, "value_mm"].iloc[0])
        checks.loc[slip, "value_mm"] = was + 2.0
        found = diagnose(shared_fit, log_of(frames), TODAY)
        assert len(found.slips) == 1
        row = found.slips.iloc[0]
        assert (row["pair_id"], row["foot"], row["point"]) == ("ada-1", "right", "ball")
        assert row["checked_on"] == day(180)
        assert row["fitted_mm"] == pytest.approx(was, abs=0.3)
        assert "ada-1" in found.summary()

    def test_thumb_grades_that_fit_are_near_their_middle_and_odd_ones_are_not(self, shared_fit):
        frames = rack(1)
        good = [grade("ada-0", 200, "left", "firm"), grade("ada-0", 10, "right", "firm")]
        odd = [grade("ada-0", 20, "left", "soft")]
        for rows, share in ((good, 0.0), (odd, 1.0)):
            checks = pd.concat([frames["checks"], pd.DataFrame(rows)], ignore_index=True)
            found = diagnose(shared_fit, log_of(frames | {"checks": checks}), TODAY)
            thumb = found.residuals.set_index("method").loc["thumb"]
            assert thumb["readings"] == len(rows)
            assert thumb["share_beyond_2"] == share


class TestIndependence:
    def test_residuals_of_a_right_model_lie_on_the_line_and_do_not_follow_each_other(self, usual):
        qq = usual.checks.qq
        assert qq["normal"].is_monotonic_increasing
        assert qq["residual"].is_monotonic_increasing
        assert np.corrcoef(qq["normal"], qq["residual"])[0, 1] > 0.97
        assert usual.checks.followers == 24 * 6, "seven checks of each of 24 shoes"
        assert not usual.checks.dependent

    def test_a_correlation_is_found_within_a_shoe_and_not_from_one_to_the_next(self):
        rng = np.random.default_rng(2)
        level = np.repeat(rng.normal(size=40), 5)
        rows = pd.DataFrame(
            {
                "pair_id": "p",
                "sole_id": np.repeat([f"s{i}" for i in range(40)], 5),
                "foot": "left",
                "point": "ball",
                "method": "caliper",
                "checked_on": pd.date_range("2025-01-01", periods=200),
                "worn_days": np.tile(np.arange(5.0), 40),
                "value_mm": 4.0,
                "slip": False,
            }
        )
        alike = residual_checks(rows.assign(std_resid=level + 0.3 * rng.normal(size=200)))
        assert alike.autocorrelation > 0.5
        assert alike.dependent
        shuffled = residual_checks(rows.assign(std_resid=rng.permutation(level)))
        assert not shuffled.dependent

    def test_a_check_that_decides_a_rate_is_listed_with_what_it_does(self, shared_fit):
        frames = rack(3)
        checks = frames["checks"]
        last = (checks["pair_id"] == "ada-1") & (checks["checked_on"] == day(350))
        last &= checks["foot"] == "right"
        checks.loc[last, "value_mm"] -= 0.4
        found = diagnose(shared_fit, log_of(frames), TODAY)
        row = found.checks.influence.iloc[0]
        assert (row["pair_id"], row["foot"], row["checked_on"]) == ("ada-1", "right", day(350))
        assert row["rate_change_percent"] < -10.0
        assert "without it the line wears" in found.summary()


class TestWhatItLeansOn:
    def test_pairs_with_fewer_than_two_checks_are_listed(self, shared_fit):
        frames = together(
            rack(1),
            {
                "pairs": pd.DataFrame([pair_row("new", "ada"), pair_row("alone", "zoe")]),
                "soles": pd.DataFrame([sole_row("new"), sole_row("alone")]),
            },
        )
        found = diagnose(shared_fit, log_of(frames), TODAY).leaning.set_index("pair_id")
        assert set(found.index) == {"new", "alone"}
        assert found.loc["alone", "leans_on"] == "the population"
        assert "other pairs" in found.loc["new", "leans_on"]


def test_the_summary_is_readable_and_holds_no_missing_number(usual):
    text = usual.summary()
    assert text.startswith("Can this fit be trusted?")
    assert "nan" not in text
    assert max(map(len, text.splitlines())) <= 110
