"""Does the library keep its word: nothing changed, nothing random, no matter in which order?"""

from __future__ import annotations

import dataclasses
import json

import pandas as pd
import pytest

from solespan.forecast import (
    ForecastSettings,
    WearFit,
    WearLog,
    WearModel,
    backtest,
    diagnose,
    due_sample,
    explain,
    forecast,
    wear_path,
)
from solespan.forecast.dates.due import forecast_columns
from solespan.forecast.errors import BadFrame, BadHorizon, TooLittleData
from solespan.forecast.frames import FORECAST, PATH
from solespan.forecast.log import LogColumns
from tests.forecast.builders import FITTED, TODAY, log_of
from tests.forecast.conftest import community

PAIR = "ada-1"
ASKED = {
    "forecast": lambda fit, log: forecast(fit, log, TODAY),
    "sample": lambda fit, log: due_sample(fit, log, TODAY),
    "path": lambda fit, log: wear_path(fit, log, PAIR, TODAY),
    "drivers": lambda fit, log: explain(fit, log, PAIR, TODAY).drivers,
    "next checks": lambda fit, log: explain(fit, log, PAIR, TODAY).next_checks,
    "diagnostics": lambda fit, log: diagnose(fit, log, TODAY).residuals,
    "look back": lambda fit, log: backtest(log, [FITTED + pd.Timedelta(days=200)]).rows,
}


def copy_of(log: WearLog) -> WearLog:
    return WearLog(**{f.name: getattr(log, f.name).copy() for f in dataclasses.fields(log)})


@pytest.mark.parametrize("name", ASKED)
def test_no_input_is_changed_and_the_same_is_answered_twice(name, shared_fit, shared_log):
    before = copy_of(shared_log)
    fit_before = json.dumps(shared_fit.to_dict())
    first = ASKED[name](shared_fit, shared_log)
    pd.testing.assert_frame_equal(ASKED[name](shared_fit, shared_log), first)
    for field in dataclasses.fields(shared_log):
        pd.testing.assert_frame_equal(getattr(shared_log, field.name), getattr(before, field.name))
    assert json.dumps(shared_fit.to_dict()) == fit_before


def test_columns_of_a_log_are_forecast_as_the_log_is(shared_fit, shared_log):
    tables = {f.name: getattr(shared_log, f.name) for f in dataclasses.fields(shared_log)}
    columns = LogColumns(
        **{name: {c: frame[c].to_numpy() for c in frame} for name, frame in tables.items()}
    )
    rows = forecast_columns(shared_fit, columns, pd.Timestamp(TODAY), ForecastSettings())
    pd.testing.assert_frame_equal(pd.DataFrame(rows), forecast(shared_fit, shared_log, TODAY))


def test_the_order_of_rows_does_not_matter(shared_fit, shared_log):
    frames = {name: frame.sample(frac=1.0, random_state=3) for name, frame in community().items()}
    shuffled = forecast(shared_fit, log_of(frames), TODAY)
    pd.testing.assert_frame_equal(shuffled, forecast(shared_fit, shared_log, TODAY))


def test_the_same_log_gives_the_same_fit(shared_fit, shared_log):
    assert WearModel(shared_log, TODAY).fit().to_dict() == shared_fit.to_dict()


def test_a_stored_fit_answers_as_the_fit_itself(shared_fit, shared_log):
    stored = WearFit.from_dict(json.loads(json.dumps(shared_fit.to_dict())))
    pd.testing.assert_frame_equal(
        forecast(stored, shared_log, TODAY), forecast(shared_fit, shared_log, TODAY)
    )


@pytest.mark.parametrize("name", ["forecast", "path", "drivers", "next checks", "diagnostics"])
def test_nothing_later_than_the_day_is_used(name, shared_fit, shared_log):
    early = FITTED + pd.Timedelta(days=250)
    asked = {
        "forecast": lambda log: forecast(shared_fit, log, early),
        "path": lambda log: wear_path(shared_fit, log, PAIR, early),
        "drivers": lambda log: explain(shared_fit, log, PAIR, early).drivers,
        "next checks": lambda log: explain(shared_fit, log, PAIR, early).next_checks,
        "diagnostics": lambda log: diagnose(shared_fit, log, early).residuals,
    }[name]
    pd.testing.assert_frame_equal(asked(shared_log), asked(shared_log.until(early)))


@pytest.mark.parametrize(("columns", "name"), [(FORECAST, "forecast"), (PATH, "path")])
def test_answers_have_the_columns_and_types_of_the_contract(columns, name, shared_fit, shared_log):
    frame = ASKED[name](shared_fit, shared_log)
    assert list(frame.columns) == [c.name for c in columns]
    for column in columns:
        values = frame[column.name]
        if column.kind == "date":
            assert str(values.dtype).startswith("datetime64")
        if column.kind == "number":
            assert values.dtype == "float64"
        if column.kind == "flag":
            assert values.dtype == bool
        if column.words:
            assert values.dropna().isin(column.words).all()
        if column.required:
            assert values.notna().all()


@pytest.mark.parametrize("ask", [wear_path, explain])
class TestAskingForOnePair:
    def test_an_unknown_pair_is_named(self, ask, shared_fit, shared_log):
        with pytest.raises(BadFrame, match="'nobody' is not in this log"):
            ask(shared_fit, shared_log, "nobody", TODAY)

    def test_a_pair_without_a_sole_yet_is_named(self, ask, shared_fit, shared_log):
        with pytest.raises(TooLittleData, match=PAIR):
            ask(shared_fit, shared_log, PAIR, FITTED - pd.Timedelta(days=1))


@pytest.mark.parametrize("days", [[], ["2020-01-01"], [TODAY + pd.Timedelta(days=900)]])
def test_a_day_that_cannot_be_looked_back_from_is_refused(days, shared_log):
    with pytest.raises(BadHorizon, match="as_ofs"):
        backtest(shared_log, days)
