"""Do book-by dates follow the bench's wait of the day on which a pair is handed over?"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from solespan.forecast import ForecastSettings, WearModel, forecast
from solespan.forecast.errors import BadHorizon
from solespan.forecast.planning import what_if
from tests.forecast.builders import log_of, rack

WEEKS = ((date(2026, 7, 6), 3), (date(2026, 7, 13), 40), (date(2026, 7, 20), 5))


def days(*texts: str) -> np.ndarray:
    return np.array(texts, dtype="datetime64[s]")


def test_without_a_plan_the_wait_is_the_same_on_every_day():
    settings = ForecastSettings(bench_wait_days=10)
    asked = settings.book_by(days("2026-07-14", "2027-01-11", "NaT"))
    assert (asked[:2] == days("2026-07-04", "2027-01-01")).all()
    assert np.isnat(asked[2])


def test_each_week_has_its_own_wait_and_the_ends_stand_for_what_lies_beyond():
    settings = ForecastSettings(bench_waits=WEEKS)
    send = days("2026-07-01", "2026-07-06", "2026-07-19", "2026-07-20", "2027-03-06", "NaT")
    want = days("2026-06-28", "2026-07-03", "2026-06-09", "2026-07-15", "2027-03-01")
    asked = settings.book_by(send)
    assert (asked[:5] == want).all()
    assert np.isnat(asked[5])


def test_a_longer_wait_never_moves_a_booking_later():
    send = np.datetime64("2026-01-01", "s") + np.arange(0, 400, 7).astype("timedelta64[D]")
    longer = ForecastSettings(bench_waits=tuple((d, w + 1) for d, w in WEEKS)).book_by(send)
    assert (longer < ForecastSettings(bench_waits=WEEKS).book_by(send)).all()


@pytest.mark.parametrize("wrong", [WEEKS[::-1], (WEEKS[0], WEEKS[0]), ((date(2026, 7, 6), -1),)])
def test_days_out_of_order_and_negative_waits_are_refused(wrong):
    with pytest.raises(BadHorizon, match="bench_waits"):
        ForecastSettings(bench_waits=wrong)


@pytest.mark.slow
def test_forecast_and_what_if_give_the_same_dates_to_book_by():
    log = log_of(rack(3))
    fit = WearModel(log, "2026-07-01").fit()
    settings = ForecastSettings(bench_waits=WEEKS)
    frame = forecast(fit, log, "2026-07-01", settings)
    main = frame[(frame["foot"] == "pair") & (frame["point"] == "ball")].set_index("pair_id")
    beside = what_if(fit, log, "2026-07-01", settings=settings).set_index("pair_id")
    assert (main["book_by"] == beside["book_by_now"]).all()
    assert (settings.book_by(main["send_by"].to_numpy()) == main["book_by"].to_numpy()).all()
    assert main["book_by"].notna().any()
