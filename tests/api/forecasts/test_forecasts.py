"""Do stored forecasts follow the log in the same request, and are they read, paged, explained?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from solespan.forecast.errors import ForecastError
from solespan.forecast.frames import FORECAST


def rows_of(client, pair_id):
    return client.get(f"/v1/forecasts/{pair_id}").json()["rows"]


def resole(client, pair_id):
    (row,) = [r for r in rows_of(client, pair_id) if (r["foot"], r["point"]) == ("pair", "ball")]
    return row


def test_every_pair_with_a_sole_has_its_resole_row(fitted):
    items = fitted.get("/v1/forecasts", params={"foot": "pair", "point": "ball"}).json()["items"]
    assert {row["pair_id"] for row in items} == {"oxford", "derby", "boot"}
    assert set(items[0]) == {column.name for column in FORECAST}


def test_pages_put_together_are_the_whole_list_by_send_by_date(fitted):
    whole = fitted.get("/v1/forecasts", params={"limit": 200}).json()["items"]
    walked, after = [], None
    while True:
        params = {"limit": 4} | ({"after": after} if after else {})
        page = fitted.get("/v1/forecasts", params=params).json()
        walked += page["items"]
        after = page["next"]
        if after is None:
            break
    assert walked == whole
    send_by = [row["send_by"] or "9999" for row in whole]
    assert send_by == sorted(send_by)


def test_the_list_is_narrowed_by_each_filter(fitted):
    whole = fitted.get("/v1/forecasts", params={"limit": 200}).json()["items"]
    ask = lambda **p: fitted.get("/v1/forecasts", params=p | {"limit": 200}).json()["items"]  # noqa: E731
    assert ask(wearer_id="ben") == [r for r in whole if r["pair_id"] == "boot"]
    for name, word in (("band", "sound"), ("foot", "left"), ("point", "heel")):
        assert ask(**{name: word}) == [r for r in whole if r[name] == word]
    day = "2027-06-01"
    assert ask(send_by_before=day) == [r for r in whole if r["send_by"] and r["send_by"] < day]


def test_a_logged_check_moves_that_wearers_forecast_at_once_and_no_others(fitted):
    before = {pair: rows_of(fitted, pair) for pair in ("oxford", "boot")}
    check = {"pair_id": "oxford", "checked_on": "2026-06-14", "foot": "left", "point": "ball"}
    answer = fitted.post("/v1/checks", json=check | {"method": "depth_gauge", "value_mm": 3.85})
    assert answer.status_code == 201
    thinner = resole(fitted, "oxford")["thickness_mm_p50"]
    (old,) = [r for r in before["oxford"] if (r["foot"], r["point"]) == ("pair", "ball")]
    assert thinner < old["thickness_mm_p50"] - 0.1
    assert rows_of(fitted, "boot") == before["boot"]


def test_taking_the_check_back_brings_the_old_forecast_back(fitted):
    before = rows_of(fitted, "oxford")
    check = {"pair_id": "oxford", "checked_on": "2026-06-14", "foot": "left", "point": "ball"}
    made = fitted.post("/v1/checks", json=check | {"method": "depth_gauge", "value_mm": 3.85})
    assert rows_of(fitted, "oxford") != before
    fitted.delete(made.headers["location"], headers={"if-match": '"1"'})
    assert rows_of(fitted, "oxford") == before


@pytest.mark.slow
def test_more_wear_never_delays_the_date(fitted):
    before = resole(fitted, "oxford")
    for day in range(2, 14):
        worn_on = (date(2026, 6, 1) + timedelta(days=day)).isoformat()
        body = {"pair_id": "oxford", "worn_on": worn_on, "hours": 12, "surface": "rough"}
        assert fitted.post("/v1/wear-days", json=body).status_code == 201
    after = resole(fitted, "oxford")
    assert after["thickness_mm_p50"] < before["thickness_mm_p50"]
    assert (after["due_p50"] or "9999") <= (before["due_p50"] or "9999")


def test_a_new_pair_has_a_forecast_from_the_population_and_says_so(fitted, bodies):
    fitted.post("/v1/pairs", json=bodies["pairs"])
    pending = fitted.get("/v1/forecasts/monk").json()
    assert (pending["state"], pending["rows"]) == ("pending", [])
    sole = bodies["soles"] | {"sole_id": "monk-1", "pair_id": "monk"}
    fitted.post("/v1/soles", json=sole)
    row = resole(fitted, "monk")
    assert row["as_of"] == "2026-06-15"
    assert row["reason"]


def test_a_pair_is_explained_in_sentences_with_the_next_check(fitted):
    body = fitted.get("/v1/forecasts/oxford").json()
    assert body["state"] == "ready"
    assert len(body["sentences"]) >= 2
    assert body["drivers"]
    best = body["next_checks"][0]
    assert best["foot"] in ("left", "right")
    assert best["interval_days_after"] <= best["interval_days_now"]


def test_a_forecast_known_already_is_304_until_the_log_changes(fitted):
    etag = fitted.get("/v1/forecasts/oxford").headers["etag"]
    ask = lambda: fitted.get("/v1/forecasts/oxford", headers={"if-none-match": etag})  # noqa: E731
    assert ask().status_code == 304
    body = {"pair_id": "oxford", "worn_on": "2026-06-14", "hours": 16}
    fitted.post("/v1/wear-days", json=body)
    assert ask().status_code == 200


def test_the_path_runs_down_from_the_past_into_the_future(fitted):
    body = fitted.get("/v1/forecasts/oxford/path", params={"foot": "left", "point": "ball"}).json()
    (series,) = body["series"]
    assert (series["foot"], series["point"]) == ("left", "ball")
    lengths = {len(series[k]) for k in ("on_date", "thickness_mm_p50", "ahead")}
    assert len(lengths) == 1
    median = series["thickness_mm_p50"]
    assert median[0] > median[-1]
    assert series["on_date"] == sorted(series["on_date"])
    days = zip(series["on_date"], series["ahead"], strict=True)
    assert all(ahead == (day > body["as_of"]) for day, ahead in days)


def test_without_a_fit_logging_works_and_forecasts_are_pending(client):
    client.post("/v1/wearers", json={"wearer_id": "ada"})
    pair = {"pair_id": "p", "wearer_id": "ada", "construction": "blake"}
    client.post("/v1/pairs", json=pair)
    sole = {
        "sole_id": "s",
        "pair_id": "p",
        "fitted_on": "2026-01-01",
        "material": "rubber",
        "nominal_thickness_mm": 6,
    }
    client.post("/v1/soles", json=sole)
    day = client.post("/v1/wear-days", json={"pair_id": "p", "worn_on": "2026-06-01"})
    assert day.status_code == 201
    assert client.get("/v1/forecasts/p").json()["state"] == "pending"
    assert client.get("/v1/forecasts/p/path").status_code == 409
    assert client.get("/v1/fit").json()["pending_wearers"] == 1


def test_a_log_that_cannot_be_forecast_never_keeps_anyone_from_logging(fitted, monkeypatch):
    def fail(*_args, **_kwargs):
        raise ForecastError("no optimum")

    monkeypatch.setattr("solespan.api.services.forecasts.forecasting.forecast_columns", fail)
    body = {"pair_id": "oxford", "worn_on": "2026-06-14"}
    assert fitted.post("/v1/wear-days", json=body).status_code == 201
    assert fitted.get("/v1/forecasts/oxford").json()["state"] == "pending"
    assert rows_of(fitted, "boot")


def test_a_failed_write_leaves_row_and_forecast_as_they_were(fitted, monkeypatch):
    before = rows_of(fitted, "oxford")

    def fail(*_args, **_kwargs):
        raise RuntimeError("power cut")

    monkeypatch.setattr("solespan.api.services.forecasts.forecasting.replace_forecasts", fail)
    body = {"pair_id": "oxford", "worn_on": "2026-06-14"}
    assert fitted.post("/v1/wear-days", json=body).status_code == 500
    monkeypatch.undo()
    assert fitted.get("/v1/wear-days/oxford/2026-06-14").status_code == 404
    assert rows_of(fitted, "oxford") == before


def test_the_next_day_everyone_is_behind_until_upkeep_has_run(fitted, fitted_services, clock):
    services = fitted_services
    assert fitted.get("/v1/fit").json()["pending_wearers"] == 0
    clock.move(hours=20)
    assert fitted.get("/v1/fit").json()["pending_wearers"] == 2
    services.refitter.once()
    assert resole(fitted, "oxford")["as_of"] == "2026-06-16"
    assert fitted.get("/v1/fit").json()["pending_wearers"] == 0


@pytest.mark.parametrize("path", ["", "/path"])
def test_an_unknown_pair_names_the_nearest_one(fitted, path):
    answer = fitted.get(f"/v1/forecasts/oxfrod{path}")
    assert answer.status_code == 404
    assert "'oxford'" in answer.json()["remedy"]


def test_a_forecast_may_follow_later_and_counts_as_behind_until_it_did(fitted, fitted_services):
    day = {"pair_id": "oxford", "worn_on": "2026-06-14", "wet": True}
    assert fitted.post("/v1/wear-days?forecast=never", json=day).status_code == 422
    assert fitted.post("/v1/wear-days?forecast=later", json=day).status_code == 201
    forecaster = fitted_services.forecaster
    with fitted_services.database.reading() as session:
        assert forecaster.count_behind(session) == 1
    assert forecaster.update_behind() == 1
    with fitted_services.database.reading() as session:
        assert forecaster.count_behind(session) == 0


def test_a_wear_says_how_it_moved_the_send_by_date(fitted):
    before = resole(fitted, "oxford")["send_by"]
    day = {"pair_id": "oxford", "worn_on": "2026-06-13", "hours": 24, "surface": "rough"}
    answer = fitted.post("/v1/wear-days", json=day)
    after = resole(fitted, "oxford")["send_by"]
    assert answer.headers.get("send-by-moved", "") == (
        f"{before} {after}" if before != after else ""
    )
    assert before != after
    later = fitted.post("/v1/wear-days?forecast=later", json=day | {"worn_on": "2026-06-12"})
    assert "send-by-moved" not in later.headers
