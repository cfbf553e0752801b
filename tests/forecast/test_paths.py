"""Does the path of thickness agree with the dates, and with what was read?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import ForecastSettings, forecast, wear_path
from tests.forecast.builders import FITTED, TODAY, day, log_of, pair_row, rack, sole_row, wear_rows

PAIR = "ada-1"
DATES = {
    "thickness_mm_p10": "due_p10",
    "thickness_mm_p50": "due_p50",
    "thickness_mm_p90": "due_p90",
}


@pytest.fixture(scope="module")
def racks(shared_log):
    """Each wearer's own log: the path leans on the rack alone, and the rows shall as well."""
    return {w: shared_log.of_wearers([w]) for w in shared_log.wearers["wearer_id"]}


def crossing(path: pd.DataFrame, column: str) -> float:
    """Days until a quantile of the thickness meets the limit, by straight lines between days."""
    days = (path["on_date"] - TODAY).dt.days.to_numpy(float)
    above = (path[column] - path["limit_mm"]).to_numpy()
    under = np.flatnonzero(above <= 0)
    if not len(under):
        return np.inf
    k = under[0]
    if k == 0:
        return days[0]
    return days[k - 1] + (days[k] - days[k - 1]) * above[k - 1] / (above[k - 1] - above[k])


@pytest.mark.parametrize("pair_id", ["ada-0", "ben-1", "cyd-2", "dot-1"])
def test_quantiles_of_thickness_meet_the_limit_on_quantiles_of_the_date(pair_id, shared_fit, racks):
    log = racks[pair_id.split("-")[0]]
    path = wear_path(shared_fit, log, pair_id, TODAY)
    rows = forecast(shared_fit, log, TODAY).set_index(["pair_id", "foot", "point"])
    for foot in ("left", "right"):
        mine = path[(path["foot"] == foot) & (path["point"] == "ball")]
        ahead = pd.concat([mine[~mine["ahead"]].tail(1), mine[mine["ahead"]]])
        for thickness, due in DATES.items():
            expected = (rows.loc[(pair_id, foot, "ball"), due] - TODAY).days
            assert crossing(ahead, thickness) == pytest.approx(expected, abs=4)


def test_the_last_day_of_the_past_is_today_as_the_forecast_tells_it(shared_fit, racks):
    path = wear_path(shared_fit, racks["ada"], PAIR, TODAY)
    rows = forecast(shared_fit, racks["ada"], TODAY).set_index(["pair_id", "foot", "point"])
    for foot in ("left", "right"):
        last = path[(path["foot"] == foot) & ~path["ahead"]].iloc[-1]
        assert last["on_date"] == TODAY
        said = rows.loc[(PAIR, foot, "ball"), "thickness_mm_p50"]
        assert last["thickness_mm_p50"] == pytest.approx(said, abs=0.03)


def test_the_fitted_past_passes_near_the_readings_and_is_surer_than_the_future(
    shared_fit, shared_log
):
    path = wear_path(shared_fit, shared_log, PAIR, TODAY)
    past = path[~path["ahead"]]
    checks = shared_log.checks[shared_log.checks["pair_id"] == PAIR]
    joined = checks.merge(past, left_on=["checked_on", "foot"], right_on=["on_date", "foot"])
    assert len(joined) == len(checks)
    gap = joined["value_mm"] - joined["thickness_mm_p50"]
    assert np.sqrt(np.mean(np.square(gap))) < 0.2
    width = path["thickness_mm_p90"] - path["thickness_mm_p10"]
    assert width[~path["ahead"]].median() < width[path["ahead"]].median()


def test_thickness_only_falls_ahead_and_quantiles_stay_in_order(shared_fit, shared_log):
    path = wear_path(shared_fit, shared_log, PAIR, TODAY)
    ahead = path[path["ahead"]]
    for _, foot in ahead.groupby("foot"):
        for column in DATES:
            assert (np.diff(foot[column]) <= 1e-9).all()
    assert (path["thickness_mm_p10"] <= path["thickness_mm_p50"]).all()
    assert (path["thickness_mm_p50"] <= path["thickness_mm_p90"]).all()
    assert (path["thickness_mm_p10"] >= 0).all()


def test_days_are_unique_and_ahead_begins_after_today(shared_fit, shared_log):
    path = wear_path(shared_fit, shared_log, PAIR, TODAY)
    assert not path.duplicated(["sole_id", "foot", "point", "on_date"]).any()
    assert (path.loc[path["ahead"], "on_date"] > TODAY).all()
    assert (path.loc[~path["ahead"], "on_date"] <= TODAY).all()


def test_the_horizon_ends_the_path(shared_fit, shared_log):
    path = wear_path(shared_fit, shared_log, PAIR, TODAY, ForecastSettings(horizon_days=40))
    assert path["on_date"].max() <= TODAY + pd.Timedelta(days=40)


def test_an_earlier_sole_has_a_past_only_and_ends_when_it_was_taken_off(shared_fit):
    frames = rack(1)
    gone = day(200)
    soles = [sole_row("ada-0", removed_on=gone), sole_row("ada-0", number=2, fitted_on=gone)]
    path = wear_path(shared_fit, log_of(frames | {"soles": pd.DataFrame(soles)}), "ada-0", TODAY)
    first, second = (path[path["sole_id"] == f"ada-0-S{n}"] for n in (1, 2))
    assert not first["ahead"].any()
    assert first["on_date"].max() == gone
    assert second["on_date"].min() == gone
    assert second["ahead"].any()
    assert list(path["sole_id"].unique()) == ["ada-0-S1", "ada-0-S2"]


def test_a_pair_without_any_check_has_a_wide_path_from_its_nominal(shared_fit):
    log = log_of(
        {
            "pairs": pd.DataFrame([pair_row("one")]),
            "soles": pd.DataFrame([sole_row("one")]),
            "wear_days": pd.DataFrame(wear_rows("one", range(1, 365, 5))),
        }
    )
    path = wear_path(shared_fit, log, "one", TODAY)
    start = path[path["on_date"] == FITTED].iloc[0]
    assert start["thickness_mm_p50"] == pytest.approx(5.0, abs=0.2)
    today = path[~path["ahead"]].iloc[-1]
    assert today["thickness_mm_p90"] - today["thickness_mm_p10"] > 0.3
    assert today["thickness_mm_p90"] < 5.3, "little knowledge of the rate grows no leather"
