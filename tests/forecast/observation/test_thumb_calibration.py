"""Does a thickness beside a thumb grade teach the engine that owner's thumb?

The rack is of an owner who presses soles and has no gauge. Its two pairs are worn alike, so what a
reading on one of them tells of the thumb also moves the other's date.
"""

from __future__ import annotations

import pandas as pd
import pytest

from solespan.forecast import WearModel, forecast
from solespan.forecast.explaining.thumb_cuts import thumb_cuts
from solespan.forecast.model.wear_model import condition
from solespan.forecast.observation.thumb import believable_mm
from tests.forecast.builders import (
    TODAY,
    grade,
    log_of,
    pair_row,
    rack,
    reading,
    sole_row,
    together,
    wear_rows,
)

PRESSED, OTHER = "tom-0", "tom-1"
LAST = 350
FEET = ("left", "right")


def by_thumb(grades: tuple[str, ...] = ("firm", "firm", "firm", "give")) -> dict:
    """Give two pairs of an owner, worn every third day and pressed four times a year."""
    ids = (PRESSED, OTHER)
    days = (90, 180, 270, LAST)
    felt = list(zip(days, grades, strict=True))
    return {
        "wearers": pd.DataFrame([{"wearer_id": "tom"}]),
        "pairs": pd.DataFrame([pair_row(i, "tom") for i in ids]),
        "soles": pd.DataFrame([sole_row(i) for i in ids]),
        "wear_days": pd.DataFrame([r for i in ids for r in wear_rows(i, range(1, 365, 3))]),
        "checks": pd.DataFrame(
            [grade(i, k, foot, word) for i in ids for k, word in felt for foot in FEET]
        ),
    }


def with_readings(
    frames: dict, mm: float, *, day: int = LAST, feet: tuple[str, ...] = FEET
) -> dict:
    """Read the pressed pair with a depth gauge on the last day on which it was pressed."""
    rows = [reading(PRESSED, day, foot, mm, "depth_gauge") for foot in feet]
    checks = pd.concat([frames["checks"], pd.DataFrame(rows)], ignore_index=True)
    return frames | {"checks": checks}


@pytest.fixture(scope="module")
def cuts(shared_fit):
    def cuts(frames: dict, fit=None) -> pd.Series:
        fit = fit or shared_fit
        return thumb_cuts(fit, condition(fit, log_of(frames), TODAY, 365)).loc["tom"]

    return cuts


@pytest.fixture(scope="module")
def median_due(shared_fit):
    def median_due(frames: dict, pair_id: str, fit=None) -> pd.Timestamp:
        rows = forecast(fit or shared_fit, log_of(frames), TODAY)
        rows = rows[(rows["point"] == "ball") & (rows["foot"] == "pair")]
        return rows.set_index("pair_id").loc[pair_id, "due_p50"]

    return median_due


@pytest.mark.parametrize("mm", [2.4, 2.8, 3.2, 3.6])
def test_one_reading_beside_a_grade_narrows_the_cut_points(cuts, mm):
    frames = by_thumb()
    before = cuts(frames)["sd_mm"]
    one, two = (cuts(with_readings(frames, mm, feet=f))["sd_mm"] for f in (FEET[:1], FEET))
    assert one < 0.97 * before
    assert two < one


def test_a_thin_sole_that_feels_firm_lowers_the_cut_points_and_a_thick_soft_one_raises_them(cuts):
    firm, soft = by_thumb(("firm",) * 4), by_thumb(("firm", "give", "soft", "soft"))
    assert cuts(with_readings(firm, 2.5))["firm_from_mm"] < cuts(firm)["firm_from_mm"]
    assert cuts(with_readings(soft, 3.1))["give_from_mm"] > cuts(soft)["give_from_mm"]


@pytest.mark.parametrize("pair_id", [PRESSED, OTHER])
def test_a_thinner_reading_beside_the_same_grade_makes_every_pair_due_sooner(median_due, pair_id):
    frames = by_thumb()
    dates = [median_due(with_readings(frames, mm), pair_id) for mm in (2.4, 2.8, 3.2, 3.6)]
    assert dates == sorted(dates)
    assert len(set(dates)) == len(dates)


def test_a_new_sole_that_feels_firm_changes_little(cuts, median_due):
    """Its thickness is known, but far above the cut points."""
    frames = by_thumb()
    pressed = pd.DataFrame([grade(PRESSED, 0, foot, "firm") for foot in FEET])
    more = frames | {"checks": pd.concat([frames["checks"], pressed], ignore_index=True)}
    assert cuts(more)["sd_mm"] <= cuts(frames)["sd_mm"] + 1e-3
    assert abs((median_due(more, PRESSED) - median_due(frames, PRESSED)).days) < 15


def test_another_owner_is_not_touched(shared_fit, cuts):
    apart = rack(2, wearer_id="eve", seed=3)
    both = [together(frames, apart) for frames in (by_thumb(), with_readings(by_thumb(), 2.4))]
    due = [forecast(shared_fit, log_of(frames), TODAY).set_index("pair_id") for frames in both]
    eve = due[0].index.str.startswith("eve")
    pd.testing.assert_frame_equal(due[0][eve], due[1][eve])


def test_who_never_pressed_a_sole_has_the_cut_points_of_the_prior(shared_fit, cuts):
    frames = by_thumb()
    none = frames | {"checks": frames["checks"].iloc[:0]}
    unseen = cuts(none)
    assert unseen["firm_from_mm"] == pytest.approx(3.2, abs=0.3)
    assert unseen["sd_mm"] > cuts(frames)["sd_mm"]


def test_a_rack_that_is_fitted_alone_learns_its_thumb_from_one_reading():
    frames = by_thumb()
    found = []
    for known in (frames, with_readings(frames, 2.4)):
        fit = WearModel(log_of(known), TODAY).fit()
        found.append(thumb_cuts(fit, condition(fit, log_of(known), TODAY, 365)).loc["tom"])
    assert found[1]["sd_mm"] < 0.9 * found[0]["sd_mm"]
    assert found[1]["firm_from_mm"] < found[0]["firm_from_mm"]


@pytest.mark.parametrize("grades", [("firm", "give"), ("give", "soft"), ("soft", "hole")])
def test_a_thicker_sole_is_believed_to_feel_firmer(grades):
    firmer, softer = (believable_mm(word) for word in grades)
    assert firmer[0] >= softer[0]
    assert firmer[1] >= softer[1]


def test_a_new_sole_of_usual_thickness_is_not_believed_to_be_soft():
    assert believable_mm("soft")[1] < 5.0
    assert believable_mm("firm")[0] < 5.0 < believable_mm("firm")[1]
