"""Does the calendar keep RFC 5545 in a second library's eyes, its names, and its secret?"""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace

import pandas as pd
import pytest
import vobject
from icalendar import Calendar
from sqlalchemy import select

from solespan.api.services.planning import plans
from solespan.api.services.planning.calendar import calendar_of
from solespan.api.services.planning.dates import due_dates
from solespan.api.storage.tables.rack import Base
from tests.api.planning.racks import services_on


def events_of(body: bytes | str) -> dict[str, object]:
    text = body.decode() if isinstance(body, bytes) else body
    return {e.uid.value: e for e in vobject.readOne(text).contents["vevent"]}


@pytest.fixture(scope="module")
def planned_rack(databases, fitted_rack) -> str:
    """The fitted rack with a plan of Ada's, made once."""
    address = databases.copy(fitted_rack)
    services = services_on(address)
    asked = plans.plan_rack(services, "ada", {"weeks": 3})
    with services.database.writing() as session:
        plans.keep(services, session, asked)
    services.database.close()
    return address


@pytest.fixture
def rack_address(own_database, planned_rack) -> str:
    return own_database(planned_rack)


@pytest.fixture
def address(client) -> str:
    return client.put("/v1/calendar-feeds/ada").json()["path"]


def test_a_second_library_reads_send_bys_returns_and_planned_wears_as_whole_days(client, address):
    answer = client.get(address)
    assert answer.headers["content-type"].startswith("text/calendar")
    events = events_of(answer.text)
    kinds = {uid.rpartition("-")[0] for uid in events}
    assert {"send-by", "back", "wear"} <= kinds
    for event in events.values():
        assert type(event.dtstart.value) is date
        assert event.dtend.value == event.dtstart.value + timedelta(days=1), "the end is outside"
        assert event.dtstamp.value.tzinfo is not None
    planned = client.get("/v1/rack-plans", params={"wearer_id": "ada"}).json()["items"][0]
    days = client.get(f"/v1/rack-plans/{planned['plan_id']}").json()["days"]
    worn = [day for day in days if day["pair_id"]]
    assert len([uid for uid in events if uid.startswith("wear-")]) == len(worn) > 14


def test_book_by_and_send_by_have_an_alarm_a_page_and_the_forecasts_day(client, address):
    read = Calendar.from_ical(client.get(address).content)
    assert read["refresh-interval"].dt == timedelta(hours=12)
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT12H" in client.get(address).content
    rows = client.get("/v1/forecasts", params={"wearer_id": "ada"}).json()["items"]
    main = [r for r in rows if (r["foot"], r["point"]) == ("pair", "ball") and r["send_by"]]
    open_ = [r for r in main if r["band"] not in ("away", "retired")]
    assert open_
    for kind, column, hours in (("book by", "book_by", 9), ("send by", "send_by", -15)):
        found = [e for e in read.walk("VEVENT") if str(e["categories"].cats[0]) == kind]
        told = {(str(e["url"]).rpartition("/")[2], e["dtstart"].dt.isoformat()) for e in found}
        assert told == {(r["pair_id"], max(r[column], "2026-07-01")) for r in open_}
        for event in found:
            (alarm,) = event.walk("VALARM")
            assert alarm["action"] == "DISPLAY"
            assert alarm["trigger"].dt == timedelta(hours=hours)
            assert str(event["url"]).startswith("http://127.0.0.1:8000/pairs/")


def test_lines_are_short_and_end_as_the_standard_says_and_a_name_injects_nothing(client, address):
    body = client.get(address).content
    assert body.count(b"\r\n") == body.count(b"\n")
    assert max(len(line) for line in body.split(b"\r\n")) <= 75
    events = events_of(body)
    assert any("END:VEVENT" in e.summary.value for e in events.values()), "only as text"
    assert body.count(b"BEGIN:VEVENT") == len(events)


def test_a_moved_date_moves_the_entry_and_raises_its_sequence(client, services):
    before = events_of(calendar_of(services, "ada"))
    for k in range(1, 9):
        day = date(2026, 6, 30) - timedelta(days=k)
        body = {"pair_id": "ada-0", "worn_on": day.isoformat(), "hours": 14, "surface": "rough"}
        client.post("/v1/wear-days", json=body)
    after = events_of(calendar_of(services, "ada"))
    assert set(before) == set(after), "no entry is new and none is gone"
    moved = [u for u in before if before[u].dtstart.value != after[u].dtstart.value]
    assert moved
    for uid, event in after.items():
        assert int(event.sequence.value) > int(before[uid].sequence.value)


def test_a_swapped_day_changes_the_entry_of_that_day(client, services):
    before = events_of(calendar_of(services, "ada"))
    client.post("/v1/rack-plans", json={"wearer_id": "ada", "weeks": 3, "weights": {"ada-1": 9.0}})
    after = events_of(calendar_of(services, "ada"))
    wears = {uid for uid in before if uid.startswith("wear-")}
    assert wears == {uid for uid in after if uid.startswith("wear-")}
    assert any(before[u].summary.value != after[u].summary.value for u in wears)


def test_a_new_address_ends_the_old_one_and_one_that_was_ended_opens_nothing(client, address):
    newer = client.put("/v1/calendar-feeds/ada").json()["path"]
    assert newer != address
    assert client.get(address).status_code == 404
    assert client.get(newer).status_code == 200
    assert client.get("/v1/calendar-feeds/ada").json()["path"] is None, "it is shown once"
    assert client.delete("/v1/calendar-feeds/ada").status_code == 204
    assert client.get(newer).status_code == 404


def test_the_secret_is_long_and_only_its_hash_is_kept(address, services):
    secret = address.removeprefix("/calendar/").removesuffix(".ics")
    assert len(secret) >= 43, "256 random bits"
    with services.database.reading() as session:
        tables = Base.metadata.sorted_tables
        rows = [str(row) for table in tables for row in session.execute(select(table))]
    assert len(rows) > 100
    assert not [row for row in rows if secret in row]


def test_one_owners_calendar_holds_nothing_of_anothers(client, address):
    assert "ben-" not in client.get(address).text


def test_an_unchanged_calendar_is_not_sent_twice(client, address):
    etag = client.get(address).headers["etag"]
    assert client.get(address, headers={"if-none-match": etag}).status_code == 304


def test_a_heel_that_comes_before_the_sole_has_its_own_day():
    today = pd.Timestamp("2026-06-15")
    row = {"pair_id": "boot", "sole_id": "s", "foot": "pair", "band": "watch", "reason": ""}
    days = {"ball": 200, "heel": 40, "toe": 400}
    forecast = pd.DataFrame(
        row | {"point": p, "send_by": today + pd.Timedelta(days=d), "book_by": pd.NaT}
        for p, d in days.items()
    )
    pairs = pd.DataFrame({"pair_id": ["boot"], "label": ["brown boot"]})
    rack = SimpleNamespace(
        wearer_id="ada",
        today=today.date(),
        settings=SimpleNamespace(risk=0.1),
        log=SimpleNamespace(pairs=pairs),
    )
    said = [entry.summary for entry in due_dates(rack, forecast)]
    assert said == ["Send by: brown boot", "New top piece by: brown boot"]
