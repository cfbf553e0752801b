"""How past forecasts did is told in words first, and a look back can be asked for from the page."""

from __future__ import annotations

import re

import pandas as pd
import pytest

from solespan.api.services.forecasts.look_back import kept
from solespan.dashboards.pages.forecasts.look_back import calibration_frame, look_back_page

ADDRESS = "/past-forecasts"
KEPT = {
    "made_on": "2026-11-25",
    "days": 3,
    "sound_days": 180,
    "sentences": ["Of ten pairs called watch, three were due in time."],
    "scores": [
        {"forecaster": "this model", "forecasts": 9, "crps_days": None, "times_the_model": 1.0}
    ],
    "bands": [{"band": "watch", "forecasts": 9, "said": 0.31, "happened": 0.3}],
    "calibration": [
        {"within_days": 90, "forecasts": 9, "said": 0.2, "happened": 0.3, "low": 0.1, "high": 0.5}
    ],
}


def token_in(page) -> str:
    return re.search(r'name="form_token" value="([^"]+)"', page.text)[1]


def test_before_the_first_look_back_the_page_says_what_it_needs(client):
    assert "a year of logging and four months after it" in client.get(ADDRESS).text
    drawn = client.get(f"{ADDRESS}/figure.json").json()
    assert not drawn["data"]


def test_a_look_back_is_asked_for_made_and_told(client, monkeypatch):
    serving = client.app.state.services
    looks = []
    monkeypatch.setattr(serving.look_back, "look", lambda: looks.append(1))
    monkeypatch.setattr("threading.Thread.start", lambda thread: thread.run())
    typed = {"form_token": token_in(client.get(ADDRESS))}
    answer = client.post(ADDRESS, data=typed, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, ADDRESS)
    assert looks == [1]
    assert not serving.look_back.running


def test_a_log_too_short_is_told_on_the_page_and_nothing_is_kept(client, monkeypatch):
    serving = client.app.state.services
    monkeypatch.setattr("threading.Thread.start", lambda thread: thread.run())
    monkeypatch.setattr("solespan.api.services.forecasts.look_back.usual_days", _too_short)
    client.post(ADDRESS, data={"form_token": token_in(client.get(ADDRESS))})
    assert "needs a year" in client.get(ADDRESS).text
    with serving.database.reading() as session:
        assert kept(session) is None


def _too_short(*_):
    from solespan.forecast.errors import BadHorizon

    raise BadHorizon("a look back needs a year")


def test_words_come_before_tables_and_missing_numbers_are_left_out():
    told = look_back_page(KEPT, running=False, problem="")["kept"]
    assert told["sentences"] == KEPT["sentences"]
    assert told["scores"] == [{"forecaster": "this model", "forecasts": 9, "off": ""}]
    assert told["bands"][0]["said"] == "31 %"
    assert told["chances"][0]["happened"] == "30 % (10 % to 50 %)"


@pytest.mark.parametrize("found", [None, KEPT])
def test_the_figure_has_its_columns_with_and_without_a_look_back(found):
    frame = calibration_frame(found)
    assert isinstance(frame, pd.DataFrame)
    assert list(frame) == ["within_days", "forecasts", "said", "happened", "low", "high"]
