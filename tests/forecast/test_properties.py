"""Does the whole model behave as shoes do, whatever the numbers?

Each test states a truth of wear, or of honest forecasting, that no choice of parameters may break.
The fit is shared; logs are small and built by hand.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearModel, forecast
from tests.forecast.builders import (
    TODAY,
    day,
    grade,
    log_of,
    pair_row,
    rack,
    reading,
    sole_row,
    straight_checks,
    together,
    wear_rows,
)

SEEDS = range(3)
DATES = ["due_p10", "due_p50", "due_p90"]
SWAP = {"left": "right", "right": "left", "pair": "pair"}
PAIR = "eve-1"
LAST_CHECK = 350


@pytest.fixture(scope="module")
def due(shared_fit):
    """Give the forecast rows of the ball from frames, by (pair, foot)."""

    def due(frames: dict, fit=None, pair_ids: tuple[str, ...] = ()) -> pd.DataFrame:
        rows = forecast(fit or shared_fit, log_of(frames), TODAY)
        rows = rows[rows["point"] == "ball"].set_index(["pair_id", "foot"])
        return rows.loc[list(pair_ids)] if pair_ids else rows

    return due


def days_until(rows: pd.DataFrame, name: str) -> pd.Series:
    """Days from today; a date beyond the horizon counts as just beyond it."""
    return (rows[name] - TODAY).dt.days.fillna(2000.0)


def width(rows: pd.DataFrame) -> pd.Series:
    return days_until(rows, "due_p90") - days_until(rows, "due_p10")


def with_rows(frames: dict, name: str, rows: list[dict]) -> dict:
    return frames | {name: pd.concat([frames[name], pd.DataFrame(rows)], ignore_index=True)}


def eve(seed: int = 0, **more) -> dict:
    return rack(3, wearer_id="eve", seed=100 + seed, **more)


def unworn_days(frames: dict, pair_id: str, offsets: range) -> list[int]:
    worn = set(frames["wear_days"].loc[frames["wear_days"]["pair_id"] == pair_id, "worn_on"])
    return [k for k in offsets if day(k) not in worn]


class TestWear:
    @pytest.mark.parametrize("seed", SEEDS)
    def test_more_wear_since_the_last_check_never_delays_a_date(self, due, seed):
        frames = eve(seed)
        rng = np.random.default_rng(seed)
        free = unworn_days(frames, PAIR, range(LAST_CHECK + 1, 365))
        extra = rng.choice(free, size=1 + 2 * seed, replace=False)
        more = with_rows(frames, "wear_days", wear_rows(PAIR, extra))
        before, after = due(frames, pair_ids=(PAIR,)), due(more, pair_ids=(PAIR,))
        for name in DATES:
            assert (days_until(after, name) <= days_until(before, name)).all()

    def test_longer_wear_days_since_the_last_check_never_delay_a_date(self, due):
        frames = eve()
        longer = frames["wear_days"].copy()
        late = (longer["pair_id"] == PAIR) & (longer["worn_on"] > day(LAST_CHECK))
        longer.loc[late, "hours"] = 16.0
        before = due(frames, pair_ids=(PAIR,))
        after = due(frames | {"wear_days": longer}, pair_ids=(PAIR,))
        for name in DATES:
            assert (days_until(after, name) <= days_until(before, name)).all()

    @pytest.mark.parametrize("seed", SEEDS)
    def test_a_thinner_limit_is_reached_later(self, due, seed):
        frames = eve(seed)
        thinner = frames["soles"].assign(limit_mm=1.5)
        before, after = due(frames), due(frames | {"soles": thinner})
        for name in DATES:
            assert (days_until(after, name) > days_until(before, name)).all()

    @pytest.mark.parametrize(("driving", "other"), [("left", "right"), (None, None)])
    def test_swapping_the_feet_swaps_the_answer(self, due, driving, other):
        frames = eve(driving_foot=driving, left_faster=1.15)
        swapped = frames | {
            "checks": frames["checks"].assign(foot=frames["checks"]["foot"].map(SWAP)),
            "wearers": frames["wearers"].assign(driving_foot=other),
        }
        before, after = due(frames), due(swapped)
        after.index = after.index.map(lambda key: (key[0], SWAP[key[1]]))
        after = after.reindex(before.index)
        thickness = ["thickness_mm_p50", "rate_mm_per_wear_day_p50"]
        np.testing.assert_allclose(after[thickness], before[thickness], rtol=0.02)
        for name in DATES:
            gap = (days_until(after, name) - days_until(before, name)).abs()
            # the quasi-random points are not symmetric in the feet: 512 draws, a few per cent
            assert (gap <= 3 + 0.05 * days_until(before, name)).all()
        assert list(after["first_foot"].map(SWAP)) == list(before["first_foot"])

    def test_of_two_feet_the_pair_is_due_no_later_than_either(self, due):
        rows = due(eve(left_faster=1.1))
        for name in DATES:
            by_foot = {foot: days_until(rows, name).xs(foot, level="foot") for foot in SWAP}
            for foot in ("left", "right"):
                assert (by_foot["pair"] <= by_foot[foot] + 1).all()


class TestWearsLeft:
    @pytest.mark.parametrize("seed", SEEDS)
    def test_wears_and_dates_come_from_the_same_draws(self, due, seed):
        rows = due(eve(seed))
        wears = rows[["wears_left_p10", "wears_left_p50", "wears_left_p90"]].to_numpy(float)
        assert (wears >= 0).all()
        assert (np.diff(wears, axis=1) >= 0).all()
        for share in ("p10", "p50", "p90"):
            none_left = rows[f"wears_left_{share}"] <= 0
            assert (none_left == (days_until(rows, f"due_{share}") <= 0)).all()

    def test_one_wear_more_is_about_one_wear_less(self, due):
        frames = eve()
        free = unworn_days(frames, PAIR, range(LAST_CHECK + 1, 365))
        more = with_rows(frames, "wear_days", wear_rows(PAIR, free[:1]))
        before, after = (due(f, pair_ids=(PAIR,))["wears_left_p50"] for f in (frames, more))
        assert (before - after).between(0.3, 3).all()

    def test_of_two_feet_the_pair_has_no_more_wears_than_either(self, due):
        wears = due(eve(left_faster=1.1))["wears_left_p50"]
        of_pair = wears.xs("pair", level="foot")
        for foot in ("left", "right"):
            assert (of_pair <= wears.xs(foot, level="foot") + 1e-6).all()


def test_the_heel_has_a_band_of_its_own(shared_fit):
    frames = eve()
    worn = with_rows(
        frames,
        "checks",
        [grade(PAIR, 364, foot, "hole") | {"point": "heel"} for foot in ("left", "right")],
    )
    rows = forecast(shared_fit, log_of(worn), TODAY)
    band = rows[(rows["pair_id"] == PAIR) & (rows["foot"] == "pair")].set_index("point")["band"]
    before = forecast(shared_fit, log_of(frames), TODAY)
    ball = before[(before["pair_id"] == PAIR) & (before["point"] == "ball")]["band"].iloc[0]
    assert band["heel"] == "stop wearing"
    assert band["ball"] == ball


class TestReadings:
    @pytest.mark.parametrize("seed", SEEDS)
    def test_an_exact_reading_of_what_was_expected_narrows(self, due, seed):
        frames = eve(seed, check_days=(0, 100, 200))
        before = due(frames, pair_ids=(PAIR,))
        exact = [
            reading(PAIR, 364, foot, before.loc[(PAIR, foot), "thickness_mm_p50"], "ultrasonic")
            for foot in ("left", "right")
        ]
        after = due(with_rows(frames, "checks", exact), pair_ids=(PAIR,))
        assert (width(after) < width(before)).all()

    @pytest.mark.parametrize("error_mm", [-2.0, 1.5, 3.0])
    @pytest.mark.parametrize("which", [60, 180, LAST_CHECK])
    def test_a_gross_slip_moves_no_median_by_more_than_two_weeks(self, due, which, error_mm):
        frames = eve()
        checks = frames["checks"].copy()
        slip = (checks["pair_id"] == PAIR) & (checks["checked_on"] == day(which))
        slip &= checks["foot"] == "left"
        checks.loc[slip, "value_mm"] = (checks.loc[slip, "value_mm"] + error_mm).clip(lower=0.1)
        before, after = due(frames), due(frames | {"checks": checks})
        moved = (days_until(after, "due_p50") - days_until(before, "due_p50")).abs()
        assert moved.xs("pair", level="foot").max() <= 14
        assert moved.max() <= 16  # of which up to ten by what the reading would have told
        assert "likely misreading" in after.loc[(PAIR, "left"), "reason"]

    def test_a_hole_means_stop_wearing(self, due):
        frames = with_rows(eve(), "checks", [grade(PAIR, 364, "left", "hole")])
        rows = due(frames)
        assert (rows.loc[PAIR, "band"] == "stop wearing").all()
        assert "hole" in rows.loc[(PAIR, "left"), "reason"]
        assert rows.loc[(PAIR, "pair"), "chance_now"] > 0.9
        assert (rows.loc["eve-0", "band"] != "stop wearing").all()

    def test_thickness_that_rises_is_no_wear_but_no_nonsense(self, due):
        frames = eve()
        checks = frames["checks"]
        mine = checks["pair_id"] == PAIR
        rising = checks.assign(
            value_mm=checks["value_mm"].where(
                ~mine, 4.5 + (checks["checked_on"] - day(0)).dt.days / 700.0
            )
        )
        rows = due(frames | {"checks": rising})
        assert (rows["rate_mm_per_wear_day_p50"] > 0).all()
        assert rows.loc[(PAIR, "pair"), "thickness_mm_p50"] < 6.0
        later = days_until(rows, "due_p50")
        assert later[PAIR]["pair"] > later["eve-0"]["pair"]


class TestLittleIsKnown:
    def new_pair(self, frames: dict) -> dict:
        frames = with_rows(frames, "pairs", [pair_row("eve-9", "eve")])
        frames = with_rows(frames, "soles", [sole_row("eve-9", fitted_on=day(300))])
        return with_rows(frames, "wear_days", wear_rows("eve-9", range(302, 365, 4)))

    def test_a_new_pair_without_a_check_is_wide_and_says_what_it_leans_on(self, due):
        rows = due(self.new_pair(eve()))
        assert "no check yet" in rows.loc[("eve-9", "pair"), "reason"]
        assert "based mostly on the wearer's other pairs" in rows.loc[("eve-9", "pair"), "reason"]
        relative = width(rows) / days_until(rows, "due_p50")
        assert relative["eve-9"]["pair"] > 1.2 * relative[PAIR]["pair"]

    def test_the_only_pair_of_a_wearer_leans_on_the_population(self, due):
        frames = {
            "pairs": pd.DataFrame([pair_row("one")]),
            "soles": pd.DataFrame([sole_row("one")]),
            "wear_days": pd.DataFrame(wear_rows("one", range(1, 365, 4))),
        }
        rows = due(frames)
        assert "based mostly on other owners' soles" in rows.loc[("one", "pair"), "reason"]
        assert width(rows)["one"]["pair"] > 90

    @pytest.mark.parametrize(
        "checks",
        [
            pytest.param(lambda worn: straight_checks("one", worn, [200]), id="one check"),
            pytest.param(
                lambda worn: [
                    reading("one", 200, foot, value, method)
                    for foot in ("left", "right")
                    for method, value in (("caliper", 3.9), ("depth_gauge", 3.8))
                ],
                id="all on one day",
            ),
            pytest.param(lambda worn: straight_checks("one", worn, [0]), id="only when new"),
            pytest.param(lambda worn: [grade("one", 300, "left", "soft")], id="one thumb grade"),
        ],
    )
    def test_few_checks_give_ordered_dates_in_the_future(self, due, checks):
        worn = list(range(1, 365, 4))
        rows = due(
            {
                "pairs": pd.DataFrame([pair_row("one")]),
                "soles": pd.DataFrame([sole_row("one")]),
                "wear_days": pd.DataFrame(wear_rows("one", worn)),
                "checks": pd.DataFrame(checks(worn)),
            }
        )
        low, middle, high = (days_until(rows, name) for name in DATES)
        assert (low >= 0).all()
        assert (low < middle).all()
        assert (middle < high).all()

    def test_a_pair_that_was_never_worn_keeps_its_thickness_and_is_due_late(self, due):
        frames = with_rows(eve(), "pairs", [pair_row("eve-9", "eve")])
        frames = with_rows(frames, "soles", [sole_row("eve-9")])
        rows = due(frames)
        assert rows.loc[("eve-9", "pair"), "thickness_mm_p50"] == pytest.approx(5.0, abs=0.3)
        later = days_until(rows, "due_p50")
        assert later["eve-9"]["pair"] > later[PAIR]["pair"]

    def test_a_rack_without_any_wear_day_is_forecast_all_the_same(self, due):
        rows = due(
            {"pairs": pd.DataFrame([pair_row("one")]), "soles": pd.DataFrame([sole_row("one")])}
        )
        assert rows["band"].notna().all()
        assert rows["chance_now"].max() < 0.20  # not logged is not unworn: a year has passed
        assert rows["reason"].str.contains("no wear logged: judged by the calendar").all()

    def test_a_silent_gap_widens_and_is_named(self, due):
        frames = eve(check_days=(0, 60, 120))
        days = frames["wear_days"]
        silent = days["worn_on"].between(day(150), day(330))
        gap = due(frames | {"wear_days": days[~silent]})
        whole = due(frames)
        assert gap["reason"].str.contains("nothing was logged").all()
        assert not whole["reason"].str.contains("nothing was logged").any()
        assert (width(gap) > width(whole)).all()

    def test_a_log_too_small_for_anything_can_be_fitted(self):
        frames = {
            "pairs": pd.DataFrame([pair_row("one")]),
            "soles": pd.DataFrame([sole_row("one")]),
        }
        log = log_of(frames)
        fit = WearModel(log, TODAY).fit()
        assert len(forecast(fit, log, TODAY)) == 3


class TestOthers:
    def test_dates_of_a_wearer_do_not_move_when_another_joins_under_the_same_fit(self, due):
        alone = due(eve())
        other = rack(4, wearer_id="fay", seed=9, every=2)
        both = due(together(eve(), other))
        mine = both.loc[["eve-0", "eve-1", "eve-2"]]
        pd.testing.assert_frame_equal(mine[DATES], alone[DATES])
