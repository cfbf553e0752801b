"""Are the reasons for a date true, readable, and honest where little is known?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearModel, explain, forecast, wear_path
from solespan.forecast.explaining.one_pair import one_pair
from solespan.forecast.frames import METHODS
from solespan.forecast.model.sole_state import sole_state
from tests.forecast.builders import (
    FITTED,
    TODAY,
    grade,
    log_of,
    pair_row,
    rack,
    reading,
    sole_row,
    together,
)

PAIR = "ada-1"
HOLE = pd.DataFrame([grade(PAIR, 364, "left", "hole")])


@pytest.fixture(scope="module")
def told(shared_fit, shared_log):
    return explain(shared_fit, shared_log, PAIR, TODAY)


def words(told) -> str:
    return " ".join(told.sentences)


class TestSentences:
    def test_every_sentence_begins_and_ends_as_one(self, told):
        for sentence in told.sentences:
            assert sentence[0].isupper()
            assert sentence.endswith(".")
            assert "nan" not in sentence.lower().split()
            assert "_" not in sentence, "words of the code are not for owners"

    def test_thickness_limit_material_use_and_first_foot_are_told(self, told):
        for part in ("limit is 2.0 mm", "veg tan leather", "wear days a week", "due first"):
            assert part in words(told)

    def test_the_foot_that_wears_faster_is_named(self, shared_fit):
        log = log_of(rack(3, left_faster=1.3, seed=2, noise_mm=0.05))
        told = explain(shared_fit, log, PAIR, TODAY)
        assert "The left shoe will probably be due first" in words(told)
        foot = told.drivers.set_index("driver").loc["foot"]
        assert foot["low_percent"] < 30 < foot["high_percent"] + 15
        assert foot["effect_percent"] > 5

    def test_a_pair_without_checks_says_what_it_leans_on(self, shared_fit):
        frames = together(
            rack(2),
            {
                "pairs": pd.DataFrame([pair_row("new", "ada")]),
                "soles": pd.DataFrame([sole_row("new")]),
            },
        )
        frames["wearers"] = frames["wearers"].drop_duplicates("wearer_id")
        told = explain(shared_fit, log_of(frames), "new", TODAY)
        assert "based mostly on the wearer's other pairs" in words(told)

    def test_an_empty_log_of_one_pair_still_gives_honest_text(self):
        log = log_of(
            {"pairs": pd.DataFrame([pair_row("one")]), "soles": pd.DataFrame([sole_row("one")])}
        )
        fit = WearModel(log, TODAY).fit()
        told = explain(fit, log, "one", TODAY)
        assert "based mostly on other owners' soles" in words(told)
        assert len(told.next_checks) == 8

    def test_a_pair_without_a_sole_now_has_no_date_and_no_next_check(self, shared_fit):
        frames = rack(2)
        frames["soles"]["removed_on"] = [TODAY - pd.Timedelta(days=3), pd.NaT]
        told = explain(shared_fit, log_of(frames), "ada-0", TODAY)
        assert "has no date" in told.sentences[0]
        assert told.next_checks.empty

    def test_a_hole_is_told(self, shared_fit):
        frames = rack(3)
        checks = pd.concat([frames["checks"], HOLE], ignore_index=True)
        told = explain(shared_fit, log_of(frames | {"checks": checks}), PAIR, TODAY)
        assert "stop wearing" in words(told)


class TestDrivers:
    def test_intervals_hold_their_effect(self, told):
        known = told.drivers.dropna()
        assert (known["low_percent"] <= known["effect_percent"] + 1e-9).all()
        assert (known["effect_percent"] <= known["high_percent"] + 1e-9).all()
        assert told.drivers["note"].str.len().min() > 5

    def test_the_driving_foot_is_told_only_of_those_who_drive(self, shared_fit, shared_log):
        by_wearer = {
            w: explain(shared_fit, shared_log, f"{w}-1", TODAY).drivers.set_index("driver")
            for w in ("ada", "cyd", "dot")
        }
        assert by_wearer["ada"].loc["driving foot", "note"].startswith("left foot")
        assert "not known" in by_wearer["cyd"].loc["driving foot", "note"]
        assert np.isnan(by_wearer["dot"].loc["driving foot", "effect_percent"])

    def test_wet_days_add_what_their_share_and_multiplier_make(self, shared_fit):
        frames = rack(2)
        frames["wear_days"]["wet"] = np.arange(len(frames["wear_days"])) % 2 == 0
        told = explain(shared_fit, log_of(frames), "ada-0", TODAY)
        wet = told.drivers.set_index("driver").loc["wet days"]
        # half the days are wet, each counted by the prior's 1.7 as the fit saw none: +35 %
        assert wet["effect_percent"] == pytest.approx(35.0, abs=3.0)


class TestNextChecks:
    def test_every_foot_and_method_is_there_and_the_best_comes_first(self, told):
        checks = told.next_checks
        assert set(zip(checks["foot"], checks["method"], strict=True)) == {
            (foot, method) for foot in ("left", "right") for method in METHODS
        }
        assert checks["interval_days_after"].is_monotonic_increasing
        assert (checks["interval_days_after"] <= checks["interval_days_now"]).all()

    def test_the_interval_now_is_that_of_the_forecast(self, shared_fit, shared_log):
        log = shared_log.of_wearers(["ada"])
        told = explain(shared_fit, log, PAIR, TODAY)
        rows = forecast(shared_fit, log, TODAY).set_index(["pair_id", "foot", "point"])
        row = rows.loc[(PAIR, "pair", "ball")]
        assert told.next_checks["interval_days_now"].iloc[0] == pytest.approx(
            (row["due_p90"] - row["due_p10"]).days, abs=4
        )

    def test_a_better_gauge_narrows_more_than_the_thumb(self, shared_fit):
        log = log_of(rack(1, check_days=(0,)))
        checks = explain(shared_fit, log, "ada-0", TODAY).next_checks
        after = checks.groupby("method")["interval_days_after"].min()
        assert after["ultrasonic"] < after["caliper"] < after["thumb"]

    def test_taking_the_check_narrows_about_as_much_as_was_said(self, shared_fit):
        """What is said is expected: over readings as they may come out, not the middle one."""
        frames = rack(1, check_days=(0,), noise_mm=0.0)
        log = log_of(frames)
        said = explain(shared_fit, log, "ada-0", TODAY).next_checks
        said = said[(said["method"] == "ultrasonic") & (said["foot"] == "left")].iloc[0]
        today = wear_path(shared_fit, log, "ada-0", TODAY)
        today = today[(today["on_date"] == TODAY) & (today["foot"] == "left")].iloc[0]

        def width(value_mm):
            taken = reading("ada-0", (TODAY - FITTED).days, "left", value_mm, "ultrasonic")
            checks = pd.concat([frames["checks"], pd.DataFrame([taken])], ignore_index=True)
            rows = forecast(shared_fit, log_of(frames | {"checks": checks}), TODAY)
            row = rows.set_index(["foot", "point"]).loc[("pair", "ball")]
            return (row["due_p90"] - row["due_p10"]).days

        outcomes = {"p10": 0.3, "p50": 0.4, "p90": 0.3}  # chances with a normal's variance
        expected = sum(p * width(today[f"thickness_mm_{q}"]) for q, p in outcomes.items())
        assert expected == pytest.approx(said["interval_days_after"], rel=0.1)

    def test_its_joint_normal_is_that_of_the_forecast(self, shared_fit, shared_log):
        mine = one_pair(shared_fit, shared_log, PAIR, TODAY, None)
        factor = sole_state(mine.known.panel, mine.known._modes, mine.ball).factor[:, :, 0]
        cov, _ = mine.known.readings(mine.log, mine.ball, len(mine.state.mean))
        np.testing.assert_allclose(cov, factor @ factor.T, atol=1e-6)
