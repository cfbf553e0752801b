"""Does every wear model of the register say what a forecast file and a look back need?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import ForecastSettings, WearLog, wear_log
from solespan.forecast.backtesting.backtest import backtest
from solespan.forecast.dates.models import MODELS, NESTED, DueModel, DueRows
from solespan.forecast.frames import BANDS, CHANCE_DAYS, DUE_QUANTILES, FORECAST
from solespan.synthetic_data import shop_world
from tests.forecast.builders import TODAY, log_of, rack

SETTINGS = ForecastSettings()
QUANTILES = list(DUE_QUANTILES)
EVERY = pytest.mark.parametrize("model", MODELS.values(), ids=list(MODELS))


@pytest.fixture(scope="module")
def shop() -> tuple[WearLog, pd.Timestamp]:
    drawn = shop_world("mixed_shop_10", 4, n_pairs=14)
    return wear_log(**drawn.frames), drawn.as_of


@pytest.fixture(scope="module")
def said(shop) -> dict[str, tuple[object, DueRows, pd.DataFrame]]:
    """The fit, the draws and the forecast file of each model."""
    log, day = shop
    out = {}
    for name, model in MODELS.items():
        fit = model.fit(log, day, None)
        drawn = model.draw(log, day, SETTINGS.horizon_days, fit)
        out[name] = fit, drawn, model.forecast(log, day, SETTINGS, fit)
    return out


@EVERY
def test_each_pair_with_a_sole_on_has_draws_within_the_horizon(model, said, shop):
    log, day = shop
    soles = log.soles[(log.soles["fitted_on"] <= day) & ~(log.soles["removed_on"] <= day)]
    days = said[model.name][1].resoles
    assert sorted(days.index) == sorted(soles["pair_id"])
    assert ((days >= 0) & (days <= SETTINGS.horizon_days)).all(axis=None)


@EVERY
def test_the_forecast_file_has_the_columns_of_the_service_in_the_same_order(model, said):
    frame, usual = said[model.name][2], said[NESTED.name][2]
    pd.testing.assert_series_equal(frame.dtypes, usual.dtypes)
    assert list(frame.columns) == [column.name for column in FORECAST]
    ball, of_usual = (f[f["point"] == "ball"].reset_index(drop=True) for f in (frame, usual))
    same = ["pair_id", "sole_id", "as_of", "foot", "point"]
    pd.testing.assert_frame_equal(ball[same], of_usual[same])
    assert set(frame["band"]) <= set(BANDS)
    at_rest = ["away", "retired"]
    assert (ball["band"].isin(at_rest) == of_usual["band"].isin(at_rest)).all()


@EVERY
def test_dates_are_in_order_chances_grow_and_every_row_has_a_reason(model, said):
    frame = said[model.name][2]
    days = frame[QUANTILES].apply(lambda column: (column - frame["as_of"]).dt.days)
    assert (np.diff(days.fillna(1e9), axis=1) >= 0).all()
    chances = frame[list(CHANCE_DAYS)].dropna()
    assert len(chances)
    assert (np.diff(chances, axis=1) >= 0).all()
    assert ((frame["book_by"] < frame["send_by"]) | frame["send_by"].isna()).all()
    assert frame["reason"].str.len().gt(0).all()
    main = frame[(frame["foot"] == "pair") & (frame["point"] == "ball")].set_index("pair_id")
    inside = said[model.name][1].resoles <= 365
    within = inside.mean(axis=1).loc[main.index[main["chance_365d"].notna()]]
    np.testing.assert_allclose(within, main["chance_365d"].dropna(), atol=1e-9)


@pytest.mark.parametrize("name", [name for name in MODELS if name != NESTED.name])
def test_nothing_after_the_day_is_read(name, shop):
    log, day = shop[0], shop[1] - pd.Timedelta(days=500)
    whole, until = (MODELS[name].forecast(one, day, SETTINGS) for one in (log, log.until(day)))
    pd.testing.assert_frame_equal(whole, until)


def test_the_file_says_why_the_renewal_model_has_no_date_for_a_foot(said):
    frame = said["renewal"][2]
    foot = frame["foot"] != "pair"
    assert set(frame.loc[foot, "reason"]) <= {
        "the renewal model gives no date here",
        "no sole on it now",
    }
    assert frame.loc[foot, "due_p50"].isna().all()
    main = frame[~foot & frame["sole_id"].notna()]
    assert main["reason"].str.startswith(("judged by how long soles last", "no sole on it")).all()


def test_a_foot_without_a_line_of_its_own_says_so():
    frames = rack(2)
    checks = frames["checks"]
    few = checks[(checks["pair_id"] != "ada-1") | (checks["checked_on"] == checks["checked_on"][0])]
    frame = MODELS["line"].forecast(log_of(frames | {"checks": few}), TODAY, SETTINGS)
    by_pair = frame.groupby("pair_id")["reason"].unique()
    assert list(by_pair["ada-0"]) == [MODELS["line"].reason]
    assert "other shoes' straight lines" in by_pair["ada-1"][0]


@pytest.mark.slow
def test_a_made_up_model_is_scored_in_the_look_back(monkeypatch):
    def draw(log: WearLog, as_of: pd.Timestamp, horizon_days: int, _fit: object) -> DueRows:
        pairs = log.until(as_of).pairs["pair_id"]
        rows = pd.DataFrame({"pair_id": pairs, "foot": "pair", "point": "ball"})
        return DueRows(rows, np.full((len(rows), 2), horizon_days))

    coin = DueModel("coin", "a coin", "judged by a coin", draw)
    monkeypatch.setitem(MODELS, "coin", coin)
    back = backtest(log_of(rack(1)), [TODAY - pd.Timedelta(days=110)])
    assert back.rows["crps_coin"].notna().any()
    assert "a coin" in set(back.scores["forecaster"])
    assert "a coin" in " ".join(back.sentences())
