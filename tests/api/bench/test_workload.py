"""Is the work ahead answered, planned and learnt from through the service?"""

from __future__ import annotations

from datetime import timedelta

import pytest

from solespan.api.errors import NothingForecast
from solespan.api.services.bench.workload import year_ahead
from solespan.api.services.forecasts.year_looks import look_back_on_years, looks_are_due
from solespan.api.storage.bench.year_looks import keep_looks
from solespan.dashboards.pages.bench.workload import levelling_words


def test_the_work_ahead_is_answered_in_nested_intervals_and_the_same_twice(client):
    first = client.get("/v1/workload", params={"months": 6, "by": "week"})
    assert first.status_code == 200
    body = first.json()
    measures = {row["measure"] for row in body["total"]}
    assert {"jobs", "bench_hours", "revenue_minor", "use_sole", "use_cement"} <= measures
    for row in body["total"] + body["periods"]:
        quantiles = [row[q] for q in ("p025", "p10", "p25", "p50", "p75", "p90", "p975")]
        assert quantiles == sorted(quantiles)
    weeks = [r["mean"] for r in body["periods"] if r["measure"] == "jobs"]
    total = next(r["mean"] for r in body["total"] if r["measure"] == "jobs")
    assert sum(weeks) == pytest.approx(total, abs=0.05)
    assert client.get("/v1/workload", params={"months": 6, "by": "week"}).json() == body


@pytest.mark.parametrize("bad", [{"months": 0}, {"months": 99}, {"by": "day"}, {"monhts": 3}])
def test_a_horizon_that_cannot_be_is_refused(client, bad):
    assert client.get("/v1/workload", params=bad).status_code == 422


@pytest.mark.slow
def test_owners_who_decline_lower_the_chance_that_others_come(client):
    before = client.get("/v1/workload").json()["learnt"]
    for month in range(1, 6):
        told = {"pair_id": "derby", "due_on": f"2026-0{month}-01", "outcome": "declined"}
        assert client.post("/v1/due-outcomes", json=told).status_code == 201
    after = client.get("/v1/workload").json()["learnt"]
    assert after["come"] < before["come"]
    assert (before["outcomes"], after["outcomes"]) == (0, 5)
    assert after["pairs"] == before["pairs"] - 1, "a pair whose owner declined is not counted"


def test_an_outcome_told_again_replaces_the_first_and_came_needs_its_day(client):
    told = {"pair_id": "derby", "due_on": "2026-05-01", "outcome": "open"}
    assert client.post("/v1/due-outcomes", json=told).status_code == 201
    came = told | {"outcome": "came", "came_on": "2026-05-20"}
    assert client.post("/v1/due-outcomes", json=came).status_code == 200
    assert client.post("/v1/due-outcomes", json=told | {"outcome": "came"}).status_code == 422
    later = came | {"came_on": "2026-07-20"}
    assert client.post("/v1/due-outcomes", json=later).status_code == 422


@pytest.mark.slow
def test_a_booked_pair_is_counted_as_booked_and_not_again_as_due(bench, client):
    before = client.get("/v1/workload").json()["learnt"]["pairs"]
    bench.book()
    body = client.get("/v1/workload").json()
    assert body["learnt"]["pairs"] == before - 1
    jobs = next(r for r in body["total"] if r["measure"] == "jobs")
    assert jobs["p10"] >= 1


@pytest.mark.slow
def test_the_bench_plan_compares_ways_and_is_kept_with_dates_of_each_pair(client):
    assert client.get("/v1/bench-plans/newest").status_code == 409
    made = client.post("/v1/bench-plans", json={"months": 12, "benches": 2})
    assert made.status_code == 201, made.text
    plan = made.json()
    assert [s["name"] for s in plan["scenarios"]] == [
        "nobody is asked",
        "asked on the send-by day",
        "levelled",
        "levelled, bench tried",
    ]
    said = next(r for r in client.get("/v1/workload").json()["total"] if r["measure"] == "jobs")
    told = [s["jobs"]["mean"] for s in plan["scenarios"]]
    assert told == [told[0]] * 4, "asking moves jobs and makes none"
    assert told[0] == pytest.approx(said["mean"], rel=0.01, abs=0.02)
    assert plan["scenarios"][0]["brought_forward"]["mean"] == 0
    one, two = plan["scenarios"][2], plan["scenarios"][3]
    assert two["open_hours"]["mean"] == pytest.approx(2 * one["open_hours"]["mean"], abs=0.1)
    for pair in plan["pairs"]:
        assert pair["back_on_p10"] <= pair["back_on_p50"] <= pair["back_on_p90"]
    assert client.get("/v1/bench-plans/newest").json() == plan
    assert plan["levelling"]["free"] == 0, "at the usual risk no owner has another week"
    assert levelling_words(plan["levelling"]) in client.get("/workload").text


def test_settings_are_replaced_only_by_someone_who_has_read_them(client):
    read = client.get("/v1/bench-settings")
    settings = read.json()["settings"]
    assert settings["width_tolerance_mm"] == 0.5
    assert settings["thickness_tolerance_mm"] == 0.3
    changed = settings | {"benches": 2}
    send = {"url": "/v1/bench-settings", "json": changed}
    assert client.put(**send).status_code == 428
    assert client.put(**send, headers={"if-match": read.headers["etag"]}).status_code == 200
    assert client.put(**send, headers={"if-match": read.headers["etag"]}).status_code == 412
    closed = changed | {"hours_by_weekday": [0] * 7}
    answer = client.put("/v1/bench-settings", json=closed, headers={"if-match": "*"})
    assert answer.status_code == 422


def test_simulated_years_are_kept_for_whoever_asks_again_and_for_no_other_tenant(services):
    today = services.clock.today()
    first = year_ahead(services.database, today, 2)
    again = services.database.for_tenant(services.database.tenant_pk)
    assert year_ahead(again, today, 2) is first
    with pytest.raises(NothingForecast):
        year_ahead(services.database.for_tenant(services.database.tenant_pk + 1), today, 2)


def test_past_years_are_kept_and_shown_in_words_first(services, client):
    before = client.get("/v1/workload").json()
    assert before["past_years"] == []
    look = {
        "years_back": 1, "as_of": "2025-06-14", "came": 9, "said": 5.0, "level": 7.5, "p10": 4.0,
        "p90": 11.0, "last_year": 12.0, "three_years": None, "holt_winters": None,
    }  # fmt: skip
    database, today = services.database, services.clock.today()
    with database.writing() as session:
        keep_looks(session, today, [look])
    assert not looks_are_due(database, today)
    assert looks_are_due(database, today + timedelta(days=31))
    body = client.get("/v1/workload").json()
    assert [(row["came"], row["level"]) for row in body["past_years"]] == [(9, 7.5)]
    page = client.get("/workload").text
    assert "off by 2 jobs a year; the interval held 1 of 1" in page
    assert "The count of the year before was off by 3" in page


def test_a_shop_without_a_year_behind_it_is_looked_back_on_without_a_fit(services):
    database, today = services.database, services.clock.today()
    assert looks_are_due(database, today)
    assert look_back_on_years(database, today) == 0
    assert not looks_are_due(database, today)


def test_a_quiet_round_in_the_background_looks_back_and_a_busy_one_does_not(services, client):
    fitted = client.post("/v1/fit")
    assert fitted.status_code == 202
    services.refitter.once()
    today = services.clock.today()
    assert looks_are_due(services.database, today), "a round that fits does not look back"
    services.refitter.once()
    assert not looks_are_due(services.database, today)
