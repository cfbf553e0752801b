"""Do stored forecasts and pages lean on the waits of the bench's newest plan?"""

from __future__ import annotations

import re
from datetime import date, timedelta

import pandas as pd
import pytest

from solespan.api.services.planning.pair_states import pair_states
from solespan.api.services.planning.rack import known_rack
from solespan.api.storage.bench.waits import keep_waits
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.dashboards import wording


def resole_row(client, pair_id: str = "oxford") -> dict:
    rows = client.get(f"/v1/forecasts/{pair_id}").json()["rows"]
    return next(r for r in rows if (r["foot"], r["point"]) == ("pair", "ball"))


def wait_of(row: dict) -> int:
    return (date.fromisoformat(row["send_by"]) - date.fromisoformat(row["book_by"])).days


def keep(services, wait_days: int, first: str = "2026-06-15", weeks: int = 60) -> None:
    begins = date.fromisoformat(first)
    waits = [(begins + timedelta(days=k), wait_days + (k >= 200)) for k in range(7 * weeks)]
    with services.database.writing() as session:
        keep_waits(session, waits, [], {})


def test_the_wait_of_a_plan_counts_from_the_next_forecast_on(client, services):
    before = resole_row(client)
    assert wait_of(before) == services.settings.bench_wait_days == 14
    keep(services, 3, weeks=20)
    assert resole_row(client) == before, "stored forecasts are not touched by a plan"
    client.post("/v1/wear-days", json={"pair_id": "oxford", "worn_on": "2026-06-14"})
    after = resole_row(client)
    assert wait_of(after) == 3
    assert after["band"] == "book in"
    services.forecaster.update_behind(everyone=True)
    assert wait_of(resole_row(client)) == wait_of(after)
    asked = client.post("/v1/what-if", json={"wearer_id": "ada"}).json()["items"]
    mine = next(one for one in asked if one["pair_id"] == "oxford")
    assert mine["book_by_now"] == after["book_by"]
    derby = resole_row(client, "derby")
    day = wording.long_date(pd.Timestamp(derby["book_by"]))
    assert wait_of(derby) == wait_of(after)
    assert f"Book a place on the bench by {day}" in client.get("/pairs/derby").text


def test_a_plan_whose_days_are_past_counts_as_none(services):
    keep(services, 40, first="2025-01-06", weeks=52)
    with services.database.reading() as session:
        assert services.forecaster.settings_on(session, date(2026, 6, 15)).bench_waits == ()
        there = services.forecaster.settings_on(session, date(2026, 1, 4)).bench_waits
    assert there == ((date(2025, 1, 6), 40), (date(2025, 7, 25), 41)), "days alike are kept once"


@pytest.mark.slow
def test_a_plan_gives_forecasts_pages_and_the_calendar_one_day_each(client, services, bench):
    keep(services, 40)
    assert "Nine in ten pairs" not in client.get("/bench").text
    late = {"promised_on": "2026-06-15", "overrule": "He waits here"}
    order = bench.moved(bench.book("derby", **late), "received")
    plan = client.post("/v1/bench-plans", json={"months": 3}).json()
    services.forecaster.update_behind(everyone=True)
    by_plan = {row["pair_id"]: row["book_by"] for row in plan["pairs"]}
    assert by_plan
    assert by_plan == {p: resole_row(client, p)["book_by"] for p in by_plan}
    (planned,) = plan["orders"]
    assert planned["order_id"] == order["order_id"]
    assert planned["done_on_p90"] >= planned["done_on_p50"] == "2026-06-17", "dry overnight"
    page = client.get("/bench").text
    assert re.search(r"Nine in ten pairs that come today are back by (today|\w{3} \d+ J)", page)
    assert "promised today, planned for Wed 17 Jun" in page
    patch = {"headers": {"if-match": "*"}, "json": {"promised_on": None}}
    job = f"/v1/bench-jobs/{order['order_id']}"
    patch["headers"]["content-type"] = "application/merge-patch+json"
    assert client.patch(job, **patch).status_code == 200
    with services.database.reading() as session:
        rack, forecast = known_rack(services, session, "ada"), load_forecasts(session, ["ada"])
    away = {state.pair_id: state.away_until for state in pair_states(rack, forecast)}
    assert f"{away['derby']:%Y-%m-%d}" == planned["done_on_p90"]
