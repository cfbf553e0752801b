"""Is a pair booked only where the bench has time, or with a reason that is kept?"""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest

from solespan.api.schemas.bench.orders import NewOrder
from solespan.api.schemas.shop import ShopChoices
from solespan.api.services.bench.booking.free_days import DayNotFree
from solespan.api.services.bench.orders import book
from solespan.api.services.shop_choices import change_shop_choices

CLOSED = "2026-06-20"  # a Saturday
MONDAY = "2026-06-22"
LONG_WORK = {"work": "rewelt", "promised_on": "2026-06-16"}


def booked(client, **more):
    return client.post("/v1/bench-orders", json={"pair_id": "oxford", "work": "full_sole"} | more)


def set_bench(client, **settings):
    answer = client.put("/v1/bench-settings", json=settings, headers={"if-match": "*"})
    assert answer.status_code == 200, answer.text


@pytest.mark.parametrize(
    ("days", "where", "said"),
    [
        ({"expected_on": CLOSED}, "expected_on", "closed on Sat 20 Jun 2026"),
        ({"promised_on": CLOSED}, "promised_on", "closed on Sat 20 Jun 2026"),
        ({"promised_on": "2026-06-15"}, "promised_on", "cannot be done and dry"),
    ],
)
def test_a_day_that_the_bench_cannot_keep_is_refused_with_free_days(client, days, where, said):
    answer = booked(client, **days)
    assert answer.status_code == 422
    assert said in answer.json()["detail"]
    assert answer.json()["where"] == where
    assert re.match(r"2026-06-\d\d", answer.json()["accepted"])
    assert client.get("/v1/bench-orders").json()["items"] == []


def test_the_shop_overrules_with_a_reason_that_the_order_and_its_page_keep(client):
    answer = booked(client, expected_on=CLOSED, overrule="He passes by on Saturday")
    assert answer.status_code == 201
    (event,) = answer.json()["events"]
    assert event["details"] == {
        "overruled": "He passes by on Saturday",
        "because": "The shop is closed on Sat 20 Jun 2026.",
    }
    page = client.get(f"/bench/{answer.json()['order_id']}").text
    assert "Booked anyway: He passes by on Saturday" in page
    (free,) = booked(client, expected_on=MONDAY, overrule="not needed").json()["events"]
    assert free["details"] == {}


def test_promises_fill_a_day_until_no_more_fit(client):
    """A bench of 7 hours: 26 hours of promises are never taken."""
    until = "2026-06-16"  # two days, 14 hours
    taken = [booked(client, promised_on=until).status_code for _ in range(12)]
    assert taken.count(201) < 7
    assert taken == sorted(taken)
    assert booked(client, work="toe_plate", promised_on="2026-06-30").status_code == 201


def test_a_closure_and_a_short_week_are_followed(client):
    set_bench(
        client,
        hours_by_weekday=[0, 0, 0, 4, 0, 0, 0],
        closures=[{"first_on": "2026-06-18", "last_on": "2026-06-18"}],
        turnaround_days=7,
    )
    found = client.get("/v1/free-days?limit=2").json()
    assert [day["day"] for day in found["days"]] == ["2026-06-25", "2026-07-02"]
    assert found["hours_set"] is True


@pytest.mark.parametrize("settings", [{}, {"price_minor": {"full_sole": 9000}}])
def test_christmas_and_new_year_are_closed_until_the_shop_says_otherwise(client, settings):
    if settings:
        set_bench(client, **settings)
    for day in ("2026-12-25", "2027-01-01"):
        assert "is closed on" in booked(client, expected_on=day).json()["detail"]
    set_bench(client, **settings, closed_every_year=[{"month": 12, "day": 24}])
    assert booked(client, expected_on="2026-12-24").status_code == 422
    assert booked(client, expected_on="2026-12-25").status_code == 201


def test_moving_an_order_asks_the_same_calendar_and_keeps_the_reason(client, bench):
    order = bench.book(expected_on=MONDAY)
    patch = {"headers": {"if-match": "*"}}
    address = f"/v1/bench-orders/{order['order_id']}"
    refused = client.patch(address, json={"expected_on": CLOSED}, **patch)
    assert refused.status_code == 422
    told = client.patch(address, json={"expected_on": CLOSED, "overrule": "A wedding"}, **patch)
    assert told.json()["expected_on"] == CLOSED
    details = told.json()["events"][-1]["details"]
    assert details["moved"] == {"expected_on": [MONDAY, CLOSED]}
    assert details["overruled"] == "A wedding"
    assert client.patch(address, json={"note": "heel too"}, **patch).status_code == 200


def test_a_shop_without_hours_is_told_which_hours_are_assumed(client):
    assert client.get("/v1/free-days").json()["hours_set"] is False
    assert "No opening hours are set. Assumed are Monday to Friday" in client.get("/bench").text
    set_bench(client, hours_by_weekday=[8, 8, 8, 8, 8, 0, 0])
    assert "No opening hours are set" not in client.get("/bench").text


def test_the_days_are_the_shops_own(client, services):
    """At noon in UTC it is tomorrow already in Kiritimati."""
    with services.database.writing() as session:
        change_shop_choices(session, ShopChoices(time_zone="Pacific/Kiritimati"), None)
    assert client.get("/v1/free-days").json()["today"] == "2026-06-16"
    refused = booked(client, expected_on="2026-06-15")
    assert "is past" in refused.json()["detail"]


def test_of_many_at_once_only_as_many_take_a_day_as_it_holds(client, services):
    """Three full soles of 130 minutes and more fill a day of 7 hours; another day is too late."""
    set_bench(client, drying_hours={"full_sole": 0}, hours_by_weekday=[7, 0, 0, 0, 0, 0, 0])

    def take(pair_id: str) -> bool:
        asked = NewOrder(pair_id=pair_id, work="full_sole", promised_on=date(2026, 6, 15))
        try:
            with services.database.writing() as session:
                book(session, asked, services.clock)
        except DayNotFree:
            return False
        return True

    with ThreadPoolExecutor(4) as threads:
        taken = list(threads.map(take, ["oxford", "derby"] * 4))
    assert sum(taken) == 3


def test_a_day_is_free_only_where_a_bench_that_does_the_work_has_time(client):
    """One bench of two fits soles: their promises leave its days full, and the other's free."""
    small = ["top_piece", "toe_piece", "toe_plate", "heel_block", "sock", "guard", "shank"]
    set_bench(client, benches=2, skills=[small])

    def first(work):
        days = client.get("/v1/free-days", params={"work": work}).json()["days"]
        return days[0]["day"], days[0]["ready_by"]

    assert first("full_sole")[0] == first("top_piece")[0] == "2026-06-15"
    for number in range(40):
        body = {"name": f"Guest {number}", "what": "boot, sole"}
        assert client.post("/v1/receptions", json=body).status_code == 201
    day, ready_by = first("full_sole")
    assert day > "2026-06-15"
    assert ready_by > "2026-06-30", "87 hours of work on one bench of 7 hours a day"
    assert first("top_piece") == ("2026-06-15", "2026-06-15")
