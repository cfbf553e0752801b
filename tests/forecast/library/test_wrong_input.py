"""Wrong input: does every public name refuse it by an error of the library, in words that help?

Wrong frames are in `tests/forecast/test_log.py`; here stand arguments.
"""

from __future__ import annotations

import datetime as dt
import pickle

import numpy as np
import pandas as pd
import polars as pl
import pytest

from solespan import forecast as library
from solespan.forecast.errors import BadArgument, ForecastError
from solespan.forecast.values import day_of
from tests.forecast.builders import FITTED, TODAY

PAIR = "ada-1"
FRAME = pd.DataFrame({"pair_id": ["brown"]})

# name of the argument -> how it is asked, with the words of the message
WRONG = {
    "a frame for a log": (lambda f, g: library.WearModel(FRAME, TODAY), "log: ", "wear_log"),
    "a dictionary for a log": (lambda f, g: library.WearModel({}, TODAY), "log: ", "wear_log"),
    "no day": (lambda f, g: library.WearModel(g, None), "as_of: None", "a day from 1900"),
    "a word for a day": (lambda f, g: library.WearModel(g, "today"), "'today'", "2026-11-23"),
    "a German day": (lambda f, g: library.WearModel(g, "23.11.2026"), "as_of", "2026-11-23"),
    "a number for a day": (lambda f, g: library.WearModel(g, 20261123), "20261123", "a day"),
    "no such day": (lambda f, g: library.WearModel(g, "2026-02-30"), "2026-02-30", "a day"),
    "a day long ago": (lambda f, g: library.WearModel(g, "1066-10-14"), "1066", "from 1900"),
    "a day far ahead": (lambda f, g: library.WearModel(g, dt.date(2300, 1, 1)), "2300", "to 2199"),
    "a missing day": (lambda f, g: library.WearModel(g, pd.NaT), "as_of", "a day"),
    "text for progress": (lambda f, g: library.WearModel(g, TODAY).fit("yes"), "progress", "func"),
    "a log for a start": (lambda f, g: library.WearModel(g, TODAY).fit(start=g), "start", "fit"),
    "a number for keep": (lambda f, g: library.WearModel(g, TODAY).fit(keep=1), "keep", "func"),
    "log and fit changed": (lambda f, g: library.forecast(g, f, TODAY), "fit: ", "WearModel"),
    "no log": (lambda f, g: library.forecast(f, None, TODAY), "log: None", "wear_log"),
    "a tuple of a day": (lambda f, g: library.forecast(f, g, (2026, 11, 23)), "as_of", "a day"),
    "a risk for settings": (lambda f, g: library.forecast(f, g, TODAY, 0.1), "settings", "None"),
    "settings by dict": (
        lambda f, g: library.forecast(f, g, TODAY, {"risk": 0.1}), "settings", "ForecastSettings",
    ),
    "a fit of text": (lambda f, g: library.due_sample("fit", g, TODAY), "fit: 'fit'", "WearModel"),
    "no horizon": (lambda f, g: library.due_sample(f, g, TODAY, 0), "horizon_days: 0", "1 to"),
    "half a day": (lambda f, g: library.due_sample(f, g, TODAY, 1.5), "horizon_days", "whole"),
    "a horizon in text": (lambda f, g: library.due_sample(f, g, TODAY, "9"), "'9'", "whole"),
    "an unknown pair": (lambda f, g: library.explain(f, g, "ada-11", TODAY), "'ada-11'", "ada-1"),
    "a pair's number": (lambda f, g: library.explain(f, g, 1, TODAY), "pair_id: 1", "pair_id"),
    "pairs by list": (lambda f, g: library.wear_path(f, g, [PAIR], TODAY), "pair_id", "give"),
    "a path without log": (lambda f, g: library.wear_path(f, f, PAIR, TODAY), "log", "wear_log"),
    "a path of no day": (lambda f, g: library.wear_path(f, g, PAIR, True), "as_of", "a day"),
    "a fit of none": (lambda f, g: library.diagnose(None, g, TODAY), "fit: None", "WearModel"),
    "one day, not a list": (lambda f, g: library.backtest(g, "2026-01-01"), "as_ofs", "a list"),
    "a list with no day": (lambda f, g: library.backtest(g, ["soon"]), "'soon'", "a day"),
    "no list": (lambda f, g: library.backtest(g, []), "as_ofs", "at least one"),
    "a risk of five": (lambda f, g: library.ForecastSettings(risk=5), "risk: 5", "0 and 1"),
    "a risk in text": (lambda f, g: library.ForecastSettings(risk="10 %"), "'10 %'", "0 and 1"),
    "a true risk": (lambda f, g: library.ForecastSettings(risk=True), "risk: True", "0 and 1"),
    "a wait in text": (
        lambda f, g: library.ForecastSettings(bench_wait_days="14"), "bench_wait_days", "whole",
    ),
    "a horizon before today": (
        lambda f, g: library.ForecastSettings(horizon_days=-1), "horizon_days: -1", "36500",
    ),
    "waits without days": (
        lambda f, g: library.ForecastSettings(bench_waits=((3, 4),)), "bench_waits", "a date",
    ),
    "an unknown material": (lambda f, g: f.predict("oak", [1.0]), "material: 'oak'", "oak_bark"),
    "wear days in text": (lambda f, g: f.predict("crepe", ["x"]), "standard_wear_days", "0 or"),
    "wear days below 0": (lambda f, g: f.predict("crepe", -1.0), "standard_wear_days", "0 or"),
    "an interval of 80": (
        lambda f, g: f.predict("crepe", [1.0], interval=80), "interval: 80", "0 to 1",
    ),
    "an alpha of text": (lambda f, g: f.conf_int("5 %"), "alpha: '5 %'", "0 to 1"),
    "a misspelt unknown": (lambda f, g: f.value("levle"), "'levle'", "'level'"),
    "a stored log": (lambda f, g: library.WearFit.from_dict({}), "data", "to_dict"),
    "an older fit": (
        lambda f, g: library.WearFit.from_dict({"model_version": "1"}), "version 1", "fit again",
    ),
    "no day to cut at": (lambda f, g: g.until("soon"), "as_of: 'soon'", "a day"),
    "a name for a list": (lambda f, g: g.of_wearers("ada"), "wearer_ids: 'ada'", "a list"),
    "a frame to carry": (lambda f, g: f.with_log(FRAME), "log: ", "wear_log"),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_argument_is_named_with_its_value_and_what_is_accepted(
    name, shared_fit, shared_log
):
    ask, named, accepted = WRONG[name]
    with pytest.raises(ForecastError) as raised:
        ask(shared_fit, shared_log)
    assert named in str(raised.value)
    assert accepted in str(raised.value)
    assert len(str(raised.value)) < 400
    again = pickle.loads(pickle.dumps(raised.value))
    assert str(again) == str(raised.value)


def test_there_are_forty_and_more():
    assert len(WRONG) >= 40


@pytest.mark.parametrize(
    "same",
    ["2026-06-30", "2026-06-30 18:00", dt.date(2026, 6, 30),
     dt.datetime(2026, 6, 30, 9, tzinfo=dt.UTC), np.datetime64("2026-06-30"),
     pd.Timestamp("2026-06-30 23:00", tz="Europe/Vienna")],
)  # fmt: skip
def test_a_day_may_be_of_any_kind(same):
    assert day_of("as_of", same) == TODAY


def test_days_to_look_back_from_may_be_a_column_of_any_frame(shared_log):
    day = (FITTED + pd.Timedelta(days=200)).date()
    polars, pandas = pl.Series([day]), pd.Series([day])
    rows = [library.backtest(shared_log, days).rows for days in (polars, pandas)]
    pd.testing.assert_frame_equal(*rows)


def test_an_error_keeps_its_parts():
    error = BadArgument("risk", 5, "a number between 0 and 1")
    assert (error.argument, error.value, error.accepted) == ("risk", 5, "a number between 0 and 1")
    assert str(error) == "risk: 5 is not accepted; give a number between 0 and 1"
