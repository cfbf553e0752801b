"""Does everything that reads a log work on any log, however little or odd, or refuse in words?

Named logs one by one, then drawn ones. Answers are held to what any answer must be: dates in order,
chances between 0 and 1, numbers that are numbers, text without a missing one.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext, suppress

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
from solespan.forecast.backtesting.backtest import usual_days
from solespan.forecast.dates.models import MODELS
from solespan.forecast.errors import ForecastError, TooLittleData
from solespan.forecast.frames import CHANCE_DAYS, DUE_QUANTILES
from solespan.forecast.planning import Pace, Retire, cost_of_rack, wear_allowance, what_if
from solespan.forecast.workload import due_table
from tests.forecast.builders import day, log_of, pair_row, sole_row
from tests.forecast.small_logs import LAST, NAMED, Frames, drawn, frames_of, one
from tests.quick import some_quick

TODAY = day(LAST)
RESOLE_MINOR = 10_000

Work = Callable[[WearFit, WearLog], object]


def each_pair(work: Callable[[WearFit, WearLog, str], object]) -> Work:
    """Do something with every pair of a log; one without a sole may be refused."""

    def every(fit: WearFit, log: WearLog) -> None:
        on = set(log.soles["pair_id"][log.soles["removed_on"].isna()])
        for pair_id in log.pairs["pair_id"]:
            with nullcontext() if pair_id in on else suppress(ForecastError):
                work(fit, log, pair_id)

    return every


def forecasts(fit: WearFit, log: WearLog) -> None:
    for model in MODELS.values():
        rows = model.forecast(log, TODAY, ForecastSettings(), fit)
        for name in CHANCE_DAYS:
            assert rows[name].dropna().between(0.0, 1.0).all()
        dates = rows[list(DUE_QUANTILES)].apply(lambda c: (c - TODAY).dt.days).fillna(1e6)
        with_sole = rows["due_p50"].notna() | rows["chance_now"].notna()
        assert (np.diff(dates[with_sole], axis=1) >= 0).all()
        assert set(rows["pair_id"]) >= set(log.soles["pair_id"][log.soles["removed_on"].isna()])
        assert rows["reason"].notna().all()
    due_sample(fit, log, TODAY)


def diagnoses(fit: WearFit, log: WearLog) -> None:
    found = diagnose(fit, log, TODAY)
    text = "\n".join([found.summary(), *found.warnings])
    assert "nan" not in text
    assert found.residuals["sd"].notna().all()


def stored(fit: WearFit, log: WearLog) -> None:
    assert np.isfinite(fit.params.to_numpy()).all()
    assert np.isfinite(fit.bse.to_numpy()).all()
    again = WearFit.from_dict(fit.to_dict())
    assert again.summary() == fit.summary()
    assert "nan" not in fit.summary()


def looks_back(fit: WearFit, log: WearLog) -> None:
    for days in (lambda: usual_days(log), lambda: [day(LAST // 2)]):
        try:
            back = backtest(log, days())
        except ForecastError:
            continue  # too little has happened since
        assert back.sentences()
        for table in (back.scores, back.coverage, back.bands, back.calibration):
            assert isinstance(table, pd.DataFrame)


def counts_cost(fit: WearFit, log: WearLog) -> None:
    allowance = wear_allowance(fit, log, TODAY)
    numbers = allowance.drop(columns="pair_id").to_numpy(float)
    assert (np.isfinite(numbers) & (numbers >= 0.0)).all()
    prices = dict.fromkeys(log.pairs["pair_id"], RESOLE_MINOR)
    told = cost_of_rack(log, allowance, prices)
    assert set(told["pair_id"]) == set(log.pairs["pair_id"])
    assert not told["arithmetic"].str.contains("nan").any()


def sees_work_ahead(fit: WearFit, log: WearLog) -> None:
    due_table(forecast(fit, log, TODAY), log.soles, log.pairs)


def explains(fit: WearFit, log: WearLog, pair_id: str) -> None:
    told = explain(fit, log, pair_id, TODAY)
    assert told.sentences
    assert "nan" not in " ".join(told.sentences)


def draws_paths(fit: WearFit, log: WearLog, pair_id: str) -> None:
    path = wear_path(fit, log, pair_id, TODAY)
    numbers = path[["thickness_mm_p10", "thickness_mm_p50", "thickness_mm_p90"]].to_numpy()
    assert np.isfinite(numbers).all()
    assert (np.diff(numbers, axis=1) >= -1e-6).all()


def asks_what_if(fit: WearFit, log: WearLog, pair_id: str) -> None:
    for habits in ([Pace(pair_id, 2.0)], [Retire(pair_id)]):
        frame = what_if(fit, log, TODAY, habits)
        assert frame["wear_days_365d_then"].notna().all()


def asks_for_rest(fit: WearFit, log: WearLog) -> None:
    what_if(fit, log, TODAY, rest_days=1)


READERS: dict[str, Work] = {
    "stored fit": stored,
    "forecast": forecasts,
    "diagnose": diagnoses,
    "explain": each_pair(explains),
    "wear path": each_pair(draws_paths),
    "look back": looks_back,
    "life": counts_cost,
    "what-if": each_pair(asks_what_if),
    "what-if with rest": asks_for_rest,
    "workload": sees_work_ahead,
}


def fitted(frames: Frames) -> tuple[WearFit, WearLog] | None:
    """Fit a log; None where it was refused, which only one without a sole may be."""
    log = log_of(frames)
    if (log.soles["fitted_on"] <= TODAY).any():
        return WearModel(log, TODAY).fit(), log
    with pytest.raises(TooLittleData, match="sole"):
        WearModel(log, TODAY)
    return None


@pytest.mark.parametrize("name", some_quick(NAMED, every=3))
def test_everything_reads_a_small_log(name: str) -> None:
    found = fitted(NAMED[name]())
    assert found is not None
    for read in READERS.values():
        read(*found)


@settings(max_examples=6)
@given(drawn())
@pytest.mark.slow
def test_everything_reads_whatever_was_logged(frames: Frames) -> None:
    found = fitted(frames)
    for read in READERS.values() if found else ():
        read(*found)


@pytest.mark.slow
@settings(max_examples=40)
@given(drawn(), st.sampled_from(sorted(READERS)))
def test_each_drawn_log_is_fitted_and_read_by_one_reader(frames: Frames, name: str) -> None:
    """Forty logs cost as much as ten that every reader reads, and the fits differ most."""
    found = fitted(frames)
    if found:
        READERS[name](*found)


@pytest.mark.long
@settings(max_examples=300)
@given(drawn())
def test_everything_reads_whatever_was_logged_many_times(frames: Frames) -> None:
    found = fitted(frames)
    for read in READERS.values() if found else ():
        read(*found)


@pytest.mark.parametrize(
    "frames",
    [
        pytest.param(frames_of(pairs=[], soles=[]), id="nothing at all"),
        pytest.param(frames_of(pairs=[pair_row("p")], soles=[]), id="no sole anywhere"),
        pytest.param(one(soles=[sole_row("p", fitted_on=day(LAST + 5))]), id="a sole to come"),
    ],
)
def test_a_log_without_a_sole_is_refused_in_words(frames: Frames) -> None:
    log = log_of(frames)
    with pytest.raises(TooLittleData, match="sole"):
        WearModel(log, TODAY)
    for model in MODELS.values():
        with pytest.raises(TooLittleData, match="sole"):
            model.forecast(log, TODAY, ForecastSettings(), model.fit(log, TODAY, None))
    for look in (lambda: usual_days(log), lambda: backtest(log, [day(9)])):
        with pytest.raises(ForecastError, match=r"sole|look back"):
            look()


def test_a_log_that_ends_when_the_first_sole_was_fitted_has_no_day_to_look_back_from() -> None:
    with pytest.raises(ForecastError, match="nothing was logged after"):
        backtest(log_of(one()), [day(9)])
