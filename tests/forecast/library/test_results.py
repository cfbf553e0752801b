"""Results of a fit: do the names that statisticians know mean what they mean there?"""

from __future__ import annotations

import pickle

import numpy as np
import pandas as pd
import polars as pl
import pytest

import solespan.dashboards.plots  # noqa: F401 - puts the drawings in place
from solespan.forecast import ForecastSettings, WearModel, WearResults, forecast, wear_log
from solespan.forecast.errors import TooLittleData
from solespan.forecast.explaining.results.plots import PLOTS, NoDrawing
from tests.forecast.builders import TODAY, rack


def test_a_fit_forecasts_its_own_log(shared_fit, shared_log):
    pd.testing.assert_frame_equal(shared_fit.forecast(), forecast(shared_fit, shared_log, TODAY))
    careful = shared_fit.forecast(settings=ForecastSettings(risk=0.02))
    assert (careful["send_by"] <= shared_fit.forecast()["send_by"]).all()


def test_residuals_and_fitted_values_add_up_to_the_readings(shared_fit, shared_log):
    key = ["pair_id", "checked_on", "foot", "point", "method"]
    read = shared_log.checks.set_index(key)["value_mm"]
    back = (shared_fit.fittedvalues + shared_fit.resid).reindex(read.index)
    np.testing.assert_allclose(back, read)


def test_the_criteria_follow_from_the_likelihood(shared_fit):
    k = shared_fit.df_modelwc
    assert shared_fit.aic == pytest.approx(2 * k - 2 * shared_fit.llf)
    assert shared_fit.bic == pytest.approx(np.log(shared_fit.nobs) * k - 2 * shared_fit.llf)
    cov = shared_fit.cov_params()
    np.testing.assert_allclose(np.sqrt(np.diag(cov)), shared_fit.bse)
    assert list(cov) == list(shared_fit.names)


def test_random_effects_find_the_pair_that_wears_faster_and_the_left_foot(shared_fit, shared_log):
    found = shared_fit.random_effects
    assert set(found["wearer"].index) == set(shared_log.wearers["wearer_id"])
    assert set(found["pair"].index) == set(shared_log.pairs["pair_id"])
    assert set(found["sole"].index) == set(found["foot"].index) == set(shared_log.soles["sole_id"])
    pair = found["pair"]["mean"]
    for wearer in shared_log.wearers["wearer_id"]:  # each rack's pairs wear ever faster
        assert pair[f"{wearer}-0"] < pair[f"{wearer}-2"]
    assert found["foot"]["mean"].mean() > 0.0
    assert all((frame["sd"] > 0.0).all() for frame in found.values())


def test_a_wider_interval_holds_a_narrower_one(shared_fit):
    days = pl.Series([0, 5, 50, 200])
    half, most = (shared_fit.predict("crepe", days, interval=p) for p in (0.5, 0.9))
    np.testing.assert_allclose(half["loss_mm"], shared_fit.predict("crepe", days))
    assert (most["lower_mm"] <= half["lower_mm"]).all()
    assert (half["lower_mm"] <= half["loss_mm"]).all()
    assert (half["loss_mm"] <= half["upper_mm"]).all()
    assert (half["upper_mm"] <= most["upper_mm"]).all()


def test_the_summary_marks_what_no_data_informed(shared_fit):
    told = shared_fit.informed
    assert told["sd_caliper_mm"]
    assert not told["sd_ultrasonic_mm"]
    assert not told["sd_wearer_pace"]
    lines = {x.split()[0]: x for x in shared_fit.summary().splitlines() if x}
    assert lines["ultrasonic"].endswith("(prior: no data informed this)")
    assert "prior" not in lines["caliper"]
    assert "prior" not in lines["level"]


def test_the_forms_for_a_screen_are_short(shared_fit):
    assert repr(shared_fit) == "<WearResults as of 2026-06-30: 4 wearers, 12 pairs, converged>"
    html = shared_fit._repr_html_()
    assert "<table" in html
    assert "nan" not in html.lower()


def test_a_pickle_leaves_the_log_out_and_takes_it_back(shared_fit, shared_log):
    stored = pickle.dumps(shared_fit)
    assert len(stored) < 20_000
    again = pickle.loads(stored)
    with pytest.raises(TooLittleData, match="with_log"):
        again.forecast()
    pd.testing.assert_frame_equal(again.with_log(shared_log).forecast(), shared_fit.forecast())
    assert WearResults.from_dict(shared_fit.to_dict()).log is None


def test_two_fits_are_compared_by_identity(shared_fit, shared_log):
    assert shared_fit != shared_fit.with_log(shared_log)
    assert len({shared_fit, shared_fit}) == 1


def test_a_fit_draws_its_dates_and_paths(shared_fit, monkeypatch):
    figures = (shared_fit.plot_due(), shared_fit.plot_path("ada-1"), shared_fit.plot_diagnostics())
    for figure in figures:
        assert type(figure).__name__ == "Figure"
        assert figure.data
    monkeypatch.delitem(PLOTS, "due")
    with pytest.raises(NoDrawing, match=r"import solespan\.dashboards\.plots"):
        shared_fit.plot_due()


def test_explanation_and_diagnosis_need_no_second_log(shared_fit):
    assert shared_fit.explain("ada-1").sentences
    assert shared_fit.diagnose().converged


def test_frames_of_polars_give_the_same_log_and_fit():
    frames = rack(1)
    log = wear_log(**{name: pl.from_pandas(frame) for name, frame in frames.items()})
    plain = wear_log(**frames)
    for name in frames:
        pd.testing.assert_frame_equal(getattr(log, name), getattr(plain, name))
    assert WearModel(log, TODAY).fit().to_dict() == WearModel(plain, TODAY).fit().to_dict()
