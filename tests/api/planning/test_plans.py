"""Are plans made, kept, explained and planned again over HTTP, and is nonsense refused unharmed?"""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest

from solespan.api.services.planning.asked_plans import make_asked

WEEKS = 3


def made(client, **more):
    answer = client.post("/v1/rack-plans", json={"wearer_id": "ada", "weeks": WEEKS} | more)
    assert answer.status_code == 201, answer.text
    return answer.json()


def test_a_plan_covers_every_day_from_tomorrow_and_is_read_again_as_it_was_made(client):
    plan = made(client)
    days = [date.fromisoformat(d["worn_on"]) for d in plan["days"]]
    assert days == [date(2026, 7, 2) + timedelta(days=k) for k in range(7 * WEEKS)]
    assert client.get(f"/v1/rack-plans/{plan['plan_id']}").json() == plan
    (listed,) = client.get("/v1/rack-plans", params={"wearer_id": "ada"}).json()["items"]
    assert listed["plan_id"] == plan["plan_id"]


def test_a_pair_away_is_not_planned_before_it_is_promised_and_a_retired_one_never(client):
    plan = made(client)
    worn = {d["worn_on"]: d["pair_id"] for d in plan["days"]}
    assert all(on >= "2026-07-10" for on, pair in worn.items() if pair == "ada-2")
    assert "ada-3" not in {*worn.values(), *(p["pair_id"] for p in plan["pairs"])}


def test_every_pair_and_every_day_has_its_reason(client):
    plan = made(client)
    assert all(p["reason"] for p in plan["pairs"])
    on = plan["days"][3]["worn_on"]
    told = client.get(f"/v1/rack-plans/{plan['plan_id']}/days/{on}").json()["items"]
    assert [t["pair_id"] for t in told if t["worn"]] == [plan["days"][3]["pair_id"]]
    assert all(t["reason"] for t in told)


def test_a_plan_made_again_keeps_its_days(client):
    first = made(client)
    again = made(client, again=first["plan_id"])
    assert [d["pair_id"] for d in again["days"]] == [d["pair_id"] for d in first["days"]]


def test_the_same_key_makes_one_plan(client):
    body, key = {"wearer_id": "ben", "weeks": 2}, {"idempotency-key": '"one"'}
    one, two = (client.post("/v1/rack-plans", json=body, headers=key) for _ in range(2))
    assert one.json() == two.json()
    assert two.headers["idempotency-replayed"] == "true"
    assert len(client.get("/v1/rack-plans", params={"wearer_id": "ben"}).json()["items"]) == 1


@pytest.mark.parametrize(
    ("body", "status", "said"),
    [
        ({"wearer_id": "nobody"}, 404, "nobody"),
        ({"occasions": [{"on": "2026-07-09", "pair_id": "ada-3"}]}, 422, "retired"),
        ({"occasions": [{"on": "2026-07-09", "pair_id": "ben-0"}]}, 422, "ben-0"),
        ({"occasions": [{"on": "2026-07-09"}, {"on": "2026-07-09"}]}, 422, "two occasions"),
        ({"occasions": [{"on": "2027-07-09"}]}, 422, "outside"),
        ({"starts_on": "2026-06-01"}, 422, "2026-06-01"),
        ({"rest_days": 3, "rest_days_wet": 1}, 422, "rest_days_wet"),
        ({"again": "no-such-plan"}, 404, "no-such-plan"),
        ({"weeks": 0}, 422, "weeks"),
        ({"unknown": 1}, 422, "unknown"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_in_words_and_keeps_nothing(client, body, status, said):
    answer = client.post("/v1/rack-plans", json={"wearer_id": "ada", "weeks": WEEKS} | body)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert said in answer.text
    assert client.get("/v1/rack-plans", params={"wearer_id": "ada"}).json()["items"] == []


def test_an_owner_without_a_pair_is_told_so(client):
    client.post("/v1/wearers", json={"wearer_id": "cleo"})
    answer = client.post("/v1/rack-plans", json={"wearer_id": "cleo"})
    assert answer.status_code == 409
    assert "remedy" in answer.json()


def test_what_if_stands_beside_the_stored_forecast_and_keeps_nothing(client):
    habits = [{"kind": "pace", "pair_id": "ada-0", "wears_per_week": 3.4}]
    asked = client.post("/v1/what-if", json={"wearer_id": "ada", "habits": habits}).json()
    row = next(r for r in asked["items"] if r["pair_id"] == "ada-0")
    stored = client.get("/v1/forecasts/ada-0").json()["rows"]
    (main,) = [r for r in stored if (r["foot"], r["point"]) == ("pair", "ball")]
    assert row["send_by_now"] == main["send_by"]
    assert row["send_by_then"] < row["send_by_now"]
    assert client.get("/v1/forecasts/ada-0").json()["rows"] == stored


def test_what_if_a_stored_plan_is_followed(client):
    plan = made(client)
    body = {"wearer_id": "ada", "plan_id": plan["plan_id"]}
    rows = client.post("/v1/what-if", json=body).json()["items"]
    assert any(r["wear_days_365d_now"] != r["wear_days_365d_then"] for r in rows)


DAYS = {"since": "2026-08-01", "until": "2026-08-09"}


@pytest.mark.parametrize(
    ("habit", "at"),
    [
        ({}, ""),
        ({"kind": "nap"}, ""),
        ({"kind": "retire"}, "pair_id"),
        ({"kind": "retire", "pair_id": "ada-0", "wears_per_week": 2}, "wears_per_week"),
        ({"kind": "retire", "pair_id": "ada-0", "until": "2026-08-09"}, "until"),
        ({"kind": "pace", "pair_id": "ada-0"}, "wears_per_week"),
        ({"kind": "pace", "wears_per_week": 2}, "pair_id"),
        ({"kind": "pace", "pair_id": "ada-0", "wears_per_week": 8}, "wears_per_week"),
        ({"kind": "trip"} | DAYS, "pair_ids"),
        ({"kind": "trip", "pair_ids": []} | DAYS, "pair_ids"),
        ({"kind": "trip", "pair_ids": ["ada-0"]}, "since"),
        ({"kind": "trip", "pair_ids": ["ada-0"], "since": "2026-08-09", "until": "2026-08-01"}, ""),
    ],
)
def test_a_habit_that_lacks_or_has_too_much_is_refused_at_its_field(client, habit, at):
    answer = client.post("/v1/what-if", json={"wearer_id": "ada", "habits": [habit]})
    assert answer.status_code == 422, answer.text
    pointers = [error["pointer"] for error in answer.json()["errors"]]
    assert "/".join(filter(None, ["#/habits/0", at])) in pointers


@pytest.mark.parametrize(
    "habit",
    [
        {"kind": "trip", "pair_ids": ["ada-0"]} | DAYS,
        {"kind": "retire", "pair_id": "ada-0", "wears_per_week": None, "pair_ids": None},
        {"kind": "pace", "pair_id": "ada-0", "wears_per_week": 1} | DAYS,
    ],
)
def test_each_kind_of_habit_may_leave_out_what_it_does_not_need(client, habit):
    answer = client.post("/v1/what-if", json={"wearer_id": "ada", "habits": [habit]})
    assert answer.status_code == 200, answer.text


def test_a_habit_of_a_retired_pair_is_refused(client):
    body = {"wearer_id": "ada", "habits": [{"kind": "retire", "pair_id": "ada-3"}]}
    answer = client.post("/v1/what-if", json=body)
    assert answer.status_code == 422
    assert "retired" in answer.json()["detail"]


def test_the_page_shows_the_plan_that_its_form_made_and_a_mistake_beside_the_form(client):
    first = client.get("/plan", params={"wearer": "ada"})
    token = re.search(r'name="form_token" value="([^"]+)"', first.text)[1]
    form = {"form_token": token, "wearer": "ada", "weeks": "3", "most_away": "1", "wear": "even"}
    posted = client.post("/plan", data=form, follow_redirects=False)
    assert posted.status_code == 303
    assert "Working on your plan" in client.get(posted.headers["location"]).text
    assert make_asked(client.app.state.services) == 1
    shown = client.get(posted.headers["location"]).text
    assert "This week" in shown
    assert "Working on your plan" not in shown
    typed = {"weeks": "many", "most_away": "4", "wear": "uneven", "occasion_0": "2026-08-15"}
    wrong = client.post("/plan", data=form | typed, follow_redirects=False)
    assert wrong.status_code == 422
    for kept in ('value="4"', 'value="uneven" selected', 'value="2026-08-15"'):
        assert kept in wrong.text, "what was typed stands in the form again"
    assert "give a whole number from 0" in wrong.text
    forged = client.post("/plan", data=form | {"form_token": "x"}, follow_redirects=False)
    assert forged.status_code == 422


def test_a_plan_with_a_day_without_a_pair_is_kept_and_read_again(client):
    asked = {"wearer_id": "ada", "weeks": 1, "week": ["outdoor", *["none"] * 6]}
    made = client.post("/v1/rack-plans", json=asked)
    assert made.status_code == 201, made.text
    pairs = {day["worn_on"]: day["pair_id"] for day in made.json()["days"]}
    assert None in pairs.values()
    assert client.get(made.headers["location"]).json()["days"] == made.json()["days"]
    again = client.post("/v1/rack-plans", json=asked | {"again": made.json()["plan_id"]})
    assert again.status_code == 201


@pytest.mark.parametrize(
    ("habit", "field"),
    [
        ({"kind": "pace", "pair_id": "ada-0"}, "wears_per_week"),
        ({"kind": "condition", "pair_id": "ada-0", "condition": "wet"}, "share"),
        ({"kind": "condition", "pair_id": "nobody", "condition": "wet", "share": 0.5}, "pair_id"),
    ],
)
def test_a_habit_that_lacks_something_is_refused_with_the_field(client, habit, field):
    answer = client.post("/v1/what-if", json={"wearer_id": "ada", "habits": [habit]})
    assert answer.status_code == 422, answer.text
    assert field in answer.text
