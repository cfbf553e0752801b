"""Does the look back judge by what happened, and only by that?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import ForecastSettings, backtest
from solespan.forecast.backtesting.backtest import Backtest, usual_days
from solespan.forecast.backtesting.backtest_scores import (
    calibration_table,
    coverage,
    hand_over_counts,
    send_by_share,
)
from solespan.forecast.backtesting.censoring import censored_crps, chance_known, share_due
from solespan.forecast.backtesting.outcomes import log_end, outcomes
from solespan.forecast.errors import BadHorizon
from solespan.forecast.log import wear_log
from solespan.synthetic_data.scenarios import world
from tests.forecast.builders import TODAY, day, grade, log_of, pair_row, rack, reading, sole_row

AS_OF = day(100)


def outcome(checks=(), **sole) -> pd.Series:
    frames = {
        "pairs": pd.DataFrame([pair_row("one")]),
        "soles": pd.DataFrame([sole_row("one", **sole)]),
        "checks": pd.DataFrame(list(checks)) if checks else None,
    }
    return outcomes(log_of(frames), AS_OF).iloc[0]


class TestOutcomes:
    def test_a_reading_below_the_limit_counts_halfway_from_the_last_above_it(self):
        found = outcome([reading("one", 150, "left", 2.4), reading("one", 250, "left", 1.9)])
        assert found["kind"] == "seen"
        assert (found["above_until_days"], found["by_days"], found["days"]) == (50, 150, 100)

    def test_a_hole_counts_as_below(self):
        assert outcome([grade("one", 250, "right", "hole")])["kind"] == "seen"

    def test_a_low_reading_that_the_next_contradicts_is_a_slip(self):
        found = outcome([reading("one", 150, "left", 1.0), reading("one", 250, "left", 2.9)])
        assert found["kind"] == "open"
        assert found["above_until_days"] == 150

    def test_a_sole_that_is_still_on_was_not_due_until_it_was_last_seen_above(self):
        found = outcome([reading("one", 250, "left", 3.0), grade("one", 300, "left", "give")])
        assert found["kind"] == "open"
        assert found["above_until_days"] == 200
        assert np.isnan(found["days"])

    def test_a_sole_seen_past_its_limit_before_is_already_due(self):
        assert outcome([reading("one", 90, "left", 1.8)])["kind"] == "already"

    def test_the_thinner_foot_decides(self):
        found = outcome([reading("one", 200, "left", 3.0), reading("one", 200, "right", 1.9)])
        assert (found["kind"], found["by_days"]) == ("seen", 100)

    def handed_over(self, checks=(), **job):
        frames = {
            "pairs": pd.DataFrame([pair_row("one")]),
            "soles": pd.DataFrame(
                [
                    sole_row("one", removed_on=day(310)),
                    sole_row("one", number=2, fitted_on=day(312)),
                ]
            ),
            "checks": pd.DataFrame(list(checks)) if checks else None,
            "bench_jobs": pd.DataFrame(
                [
                    {
                        "job_id": "j1",
                        "pair_id": "one",
                        "work": "full_sole",
                        "received_on": day(300),
                    }
                    | job
                ]
            ),
        }
        return outcomes(log_of(frames), AS_OF).iloc[0]

    def test_the_day_of_hand_over_counts_where_no_check_tells(self):
        found = self.handed_over()
        assert (found["kind"], found["days"]) == ("resoled", 200)

    def test_a_sole_handed_over_soon_after_a_check_above_the_limit_was_sent_early(self):
        found = self.handed_over([reading("one", 280, "left", 2.6)])
        assert (found["kind"], found["above_until_days"]) == ("early", 200)

    def test_a_sole_handed_over_on_advice_was_not_due_as_far_as_is_known(self):
        found = self.handed_over([reading("one", 150, "left", 3.0)], advised=True)
        assert (found["kind"], found["above_until_days"]) == ("early", 50)
        assert self.handed_over(advised=True)["above_until_days"] == 0

    @pytest.mark.parametrize(("mm", "kind"), [(4.0, "early"), (3.5, "resoled"), (3.0, "resoled")])
    def test_a_line_clearly_above_the_limit_says_that_it_was_sent_early(self, mm, kind):
        # nominal 5 mm and a limit of 2 mm: on day 300 the line is at 3, 2 and 1 mm
        assert self.handed_over([reading("one", 150, "left", mm)])["kind"] == kind

    def test_a_pair_seen_past_its_limit_as_it_was_handed_over_was_due(self):
        found = self.handed_over([reading("one", 300, "left", 1.9)], advised=True)
        assert (found["kind"], found["by_days"]) == ("seen", 200)

    def test_the_most_exact_of_two_checks_of_a_day_counts(self):
        checks = [reading("one", 300, "left", 1.9), reading("one", 300, "left", 2.1, "depth_gauge")]
        found = self.handed_over(checks)
        assert (found["kind"], found["past_at_hand_over"]) == ("early", 0.0)

    def test_a_sole_taken_off_for_good_was_not_due_as_far_as_is_known(self):
        found = outcome([reading("one", 150, "left", 3.0)], removed_on=day(200))
        assert (found["kind"], found["above_until_days"]) == ("open", 50)

    def test_outcomes_of_a_simulated_world_are_near_the_truth(self):
        simulated = world("score_world", 3, n_pairs=120)
        log = wear_log(**simulated.frames)
        as_of = pd.Timestamp("2025-05-23")
        found = outcomes(log, as_of)
        hidden = simulated.hidden_thickness
        limit = hidden["sole_id"].map(log.soles.set_index("sole_id")["limit_mm"])
        under = hidden[(hidden["point"] == "ball") & (hidden["thickness_mm"] <= limit)]
        true = found["sole_id"].map(under.groupby("sole_id")["on_date"].min())
        error = (found["days"] - (true - as_of).dt.days)[found["kind"] == "seen"].dropna()
        assert len(error) > 8
        assert abs(error.median()) < 40
        open_ = found["kind"] == "open"
        late = (true - as_of).dt.days[open_] <= found["above_until_days"][open_]
        assert late.mean() < 0.05


def judged(**columns) -> pd.DataFrame:
    n = len(next(iter(columns.values())))
    base = {
        "kind": ["seen"] * n,
        "days": [np.nan] * n,
        "above_until_days": [0.0] * n,
        "follow_days": [1000.0] * n,
        "past_at_hand_over": [np.nan] * n,
    }
    return pd.DataFrame(base | columns)


class TestScores:
    def test_a_pair_past_its_limit_on_the_send_by_date_counts_and_one_without_a_date_does_not(self):
        rows = judged(
            kind=["resoled"] * 4,
            days=[50.0, 150.0, 400.0, 50.0],
            send_by_days=[60.0, 60.0, np.nan, 0.0],
        )
        assert send_by_share(rows) == (1, 2)
        assert send_by_share(rows.assign(follow_days=100.0)) == (0, 0), "followed for too short"

    def test_where_many_were_handed_over_sooner_the_others_tell_nothing_of_the_send_by_date(self):
        rows = judged(
            kind=["early"] * 3 + ["resoled"] * 7,
            days=[np.nan] * 3 + [50.0] * 7,
            above_until_days=[20.0] * 3 + [0.0] * 7,
            send_by_days=[60.0] * 10,
        )
        assert send_by_share(rows) == (0, 0)
        assert send_by_share(rows.iloc[2:]) == (7, 7), "one in eight may be missing"
        looked = rows.assign(past_at_hand_over=[0.0] * 9 + [1.0], sole_id=list("abcdefghij"))
        assert hand_over_counts(looked) == (1, 10)

    def test_a_stretch_counts_by_the_part_of_it_that_has_passed(self):
        rows = judged(days=[50.0, 150.0], above_until_days=[0.0, 100.0])
        assert share_due(rows, np.array([25.0, 25.0]))[0] == pytest.approx(0.125)
        assert share_due(rows, np.array([150.0, 150.0]))[0] == pytest.approx(0.75)

    @pytest.mark.parametrize("stretch", [0.02, 0.3, 0.8])
    def test_a_right_forecast_holds_its_share_however_wide_the_stretches(self, stretch):
        rng = np.random.default_rng(1)
        at = rng.random(4000)
        offset = rng.random(4000) * stretch
        low = np.floor((at - offset) / stretch) * stretch + offset
        rows = judged(
            days=[1.0] * 4000,
            pit_low=np.clip(low, 0, 1),
            pit_high=np.clip(low + stretch, 0, 1),
            p75=[10.0] * 4000,
            p90=[10.0] * 4000,
        )
        held = coverage(rows).set_index("interval")["held"]
        assert held[0.8] == pytest.approx(0.8, abs=0.03)
        assert held[0.5] == pytest.approx(0.5, abs=0.03)

    def test_chances_that_come_true_lie_on_the_line(self):
        rng = np.random.default_rng(2)
        chance = rng.random(4000)
        days = np.where(rng.random(4000) < chance, 10.0, 800.0)
        names = ("chance_30d", "chance_90d", "chance_180d", "chance_365d")
        rows = judged(kind=["resoled"] * 4000, days=days, **dict.fromkeys(names, chance))
        table = calibration_table(rows)
        assert (table["said"] - table["happened"]).abs().max() < 0.06
        assert (table["low"] <= table["happened"]).all()
        assert (table["happened"] <= table["high"]).all()


class TestCensoring:
    """Lives are exponential with mean 100 days; hand-overs that come first censor them."""

    def rows(self, n=6000, seed=3, handed_mean=120.0):
        rng = np.random.default_rng(seed)
        life, handed = rng.exponential(100.0, n), rng.exponential(handed_mean, n)
        came = life <= handed
        return judged(
            kind=np.where(came, "resoled", "early"),
            days=np.where(came, life, np.nan),
            above_until_days=np.where(came, 0.0, handed),
        )

    def test_early_hand_overs_do_not_move_the_share_that_is_due(self):
        rows = self.rows()
        share, count = share_due(rows, np.full(len(rows), 60.0))
        assert share == pytest.approx(1.0 - np.exp(-0.6), abs=0.025)
        assert count == len(rows)

    def test_nothing_is_told_of_days_until_which_no_pair_was_followed(self):
        rows = judged(kind=["early", "resoled"], days=[np.nan, 10.0], above_until_days=[20.0, 0.0])
        assert np.isnan(share_due(rows, np.full(2, 90.0))[0])
        assert share_due(rows.iloc[:0], np.zeros(0))[1] == 0

    def test_the_score_with_early_hand_overs_is_near_the_one_without(self):
        cut, draws = (
            150.0,
            np.quantile(
                np.random.default_rng(4).exponential(100.0, 9000), np.linspace(0.01, 0.99, 99)
            ),
        )
        scores = []
        for mean in (1e9, 120.0):
            rows = self.rows(handed_mean=mean)
            said = np.broadcast_to(draws, (len(rows), 99))
            scores.append(np.nanmean(censored_crps(said, rows, cut, chance_known(rows, cut))))
        assert scores[1] == pytest.approx(scores[0], rel=0.05)

    @pytest.mark.parametrize("handed_mean", [1e9, 120.0])
    def test_no_other_forecast_scores_better_than_the_right_one(self, handed_mean):
        rows, cut = self.rows(handed_mean=handed_mean), 150.0
        known = chance_known(rows, cut)
        at = np.linspace(0.01, 0.99, 99)
        scores = {
            mean: np.nanmean(
                censored_crps(
                    np.broadcast_to(-mean * np.log1p(-at), (len(rows), 99)), rows, cut, known
                )
            )
            for mean in (60.0, 80.0, 100.0, 125.0, 160.0)
        }
        assert min(scores, key=scores.get) == 100.0

    def test_a_score_counts_up_to_one_day_whatever_happened(self):
        rows = judged(
            kind=["resoled", "open", "already"],
            days=[30.0, np.nan, np.nan],
            above_until_days=[0.0, 200.0, np.nan],
        )
        draws = np.full((3, 10), 130.0)
        score = censored_crps(draws, rows, 100.0, chance_known(rows, 100.0))
        np.testing.assert_allclose(score, [70.0, 0.0, np.nan], atol=1.0)


@pytest.fixture(scope="module")
def back():
    simulated = world("score_world", 4, n_pairs=40)
    return backtest(wear_log(**simulated.frames), ["2025-03-01", "2025-11-01"])


@pytest.mark.slow
class TestLookBack:
    def test_a_forecast_is_made_from_what_was_known_on_its_day(self):
        log = log_of(rack(2))
        whole = backtest(log, [day(250)]).rows
        later = log.checks["checked_on"] > day(250)
        changed = log.checks.assign(value_mm=log.checks["value_mm"].where(~later, 4.0))
        other = backtest(
            wear_log(log.pairs, log.soles, log.wear_days, changed, log.wearers), [day(250)]
        ).rows
        said = ["p10", "p50", "p90", "chance_365d", "send_by_days"]
        pd.testing.assert_frame_equal(whole[said], other[said])

    def test_the_model_beats_both_yardsticks(self, back):
        scores = back.scores.set_index("forecaster")["times_the_model"]
        assert scores["this model"] == 1.0
        assert scores.drop("this model").min() > 1.2

    def test_each_pair_that_had_a_sole_on_has_one_row_a_day(self, back):
        assert not back.rows.duplicated(["as_of", "pair_id"]).any()
        assert back.rows["as_of"].nunique() == 2

    def test_words_tell_score_intervals_bands_and_how_it_was_judged(self, back):
        text = " ".join(back.sentences())
        for part in (
            "Looked back from 2 days",
            "days off",
            "80 % interval",
            "pairs called",
            "The log says when a pair was due",
        ):
            assert part in text
        assert "nan" not in text.split()

    def test_without_anything_known_afterwards_it_says_so(self):
        frames = rack(1, check_days=(0,))
        back = backtest(log_of(frames), [day(300)])
        assert "nothing can be scored" in back.sentences()[-1]

    def test_progress_is_told(self):
        told = []
        backtest(log_of(rack(1)), [day(200)], progress=lambda *step: told.append(step))
        assert told[-1] == ("done", 1.0)

    def test_the_settings_risk_moves_the_send_by_date(self):
        log = log_of(rack(1))
        careful, bold = (
            backtest(log, [day(250)], settings=ForecastSettings(risk=risk)).rows["send_by_days"]
            for risk in (0.05, 0.4)
        )
        assert (careful < bold).all()


def test_days_to_look_back_from_leave_time_before_and_after(back):
    log = log_of(rack(1))
    with pytest.raises(BadHorizon, match="needs a year"):
        usual_days(log)
    assert log_end(log) < TODAY + pd.Timedelta(days=1)
    assert isinstance(back, Backtest)
