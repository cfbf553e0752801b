"""Does the desk see whom the year's plan would ask, and whom it leaves out and why?"""

from __future__ import annotations

import re
from datetime import date, timedelta

import pandas as pd
import pytest
import sqlalchemy as sa

from solespan.api.services.bench.asking import asked_in_year
from solespan.api.storage.bench.workload import newest_plan, save_plan
from solespan.api.storage.bench.year_looks import keep_looks
from solespan.api.storage.rack.records import list_records
from solespan.api.storage.tables.notices import Notice
from solespan.api.storage.tables.rack import Check, Sole, WearDay
from solespan.api.storage.tables.results import ForecastRow
from solespan.dashboards import wording


def asked(client, **chosen):
    answer = client.get("/v1/asked-pairs", params=chosen)
    assert answer.status_code == 200, answer.text
    return answer.json()


def change(services, mapped, **values):
    with services.database.writing() as session:
        session.execute(sa.update(mapped).values(**values))


def due_soon(services, days=50):
    """Let both pairs be due in the year."""
    on = services.clock.today() + timedelta(days=days)
    change(services, ForecastRow, send_by=on, due_p10=on + timedelta(days=1))


def test_a_pair_that_is_known_is_asked_and_one_that_is_not_is_left_out(client, services):
    assert asked(client)["counts"]["later"] == 1
    due_soon(services)
    told = asked(client)
    assert [row["pair_id"] for row in told["items"]] == ["oxford"]
    assert told["items"][0]["why"] is None
    assert sum(told["counts"].values()) == 2
    assert [row["pair_id"] for row in asked(client, why="unknown")["items"]] == ["derby"]
    with services.database.writing() as session:
        session.execute(sa.delete(WearDay))
        session.execute(sa.delete(Check))
    assert asked(client)["counts"]["unknown"] == 2, "nobody logged: nobody is asked"
    with services.database.reading() as session:
        assert not session.scalars(sa.select(Notice.id)).all(), "a list sends nothing"


def test_a_sole_that_is_too_young_is_left_out_until_it_is_old_enough(client, services):
    today = services.clock.today()
    change(services, Sole, fitted_on=today - timedelta(days=40))
    change(services, ForecastRow, send_by=today, due_p10=today)
    assert asked(client)["counts"]["asked"] == 0
    assert [row["pair_id"] for row in asked(client, why="young")["items"]] == ["oxford"]


def test_a_plan_that_has_aged_asks_nobody_before_the_10_percent_day_of_now(client, services):
    today = services.clock.today()
    later = today + timedelta(days=50)
    change(services, ForecastRow, send_by=later, due_p10=later + timedelta(days=1))
    with services.database.writing() as session:
        pair = {"pair_id": "oxford", "ask_on": (today + timedelta(days=3)).isoformat()}
        save_plan(session, today, {"pairs": [pair]})
    told = asked(client)
    assert told["planned_on"] == today.isoformat()
    assert told["items"][0]["ask_on"] == later.isoformat()


def on_desk(client):
    """Return whom the desk's list asks for, with the words beside."""
    rows = client.get("/desk?only=ask").text.partition('class="orders"')[2].partition("</ul>")[0]
    names = re.findall(r'href="/pairs/(\w+)"', rows)
    return dict(zip(names, re.findall(r'class="when">([^<]+)<', rows), strict=True))


@pytest.mark.parametrize("days", [-40, 0, 5, 9, 60])
def test_the_desk_asks_for_the_pairs_that_the_year_asks_for_within_a_week(client, services, days):
    due_soon(services, days)
    end = (services.clock.today() + timedelta(days=7)).isoformat()
    year = [row["pair_id"] for row in asked(client)["items"] if row["ask_on"] <= end]
    assert list(on_desk(client)) == year == (["oxford"] if days <= 7 else [])


def test_the_desk_asks_on_the_days_of_the_plan(client, services):
    today = services.clock.today()
    ten, send_by = today + timedelta(days=2), today + timedelta(days=50)
    change(services, ForecastRow, send_by=send_by, due_p10=ten, due_p90=send_by)
    assert on_desk(client) == {}
    with services.database.writing() as session:
        pair = {"pair_id": "oxford", "ask_on": (today + timedelta(days=3)).isoformat()}
        save_plan(session, today, {"pairs": [pair]})
    assert list(on_desk(client)) == ["oxford"]
    assert asked(client)["items"][0]["ask_on"] == (today + timedelta(days=3)).isoformat()


def test_the_desk_says_the_words_of_the_rack(client, services):
    today = services.clock.today()
    near, far = today + timedelta(days=30), today + timedelta(days=900)
    sure = {"band": "book in", "due_p10": today + timedelta(days=1), "due_p90": near}
    change(services, ForecastRow, send_by=today, **sure)
    assert on_desk(client) == {"oxford": "Send now"}
    doubtful = {"due_p90": far, "wears_left_p10": 1.0, "wears_left_p90": 90.0}
    change(services, ForecastRow, **doubtful)
    assert on_desk(client) == {"oxford": "Look now"}
    rack = client.get("/rack").text
    assert "Look now" in rack


def test_a_pair_that_is_booked_is_not_asked_for(client, services, bench):
    due_soon(services, 0)
    assert list(on_desk(client)) == ["oxford"]
    bench.book()
    assert on_desk(client) == {}


@pytest.mark.slow
def test_a_plan_asks_only_for_pairs_of_the_list(client, services):
    assert client.post("/v1/bench-plans", json={"months": 12}).status_code == 201
    with services.database.reading() as session:
        rows = newest_plan(session)["payload"]["pairs"]
        assert len(rows) == len(list_records(session, "pairs", equal={}, after=None, limit=9))
    planned = {row["pair_id"]: row["ask_on"] for row in rows if row["ask_on"]}
    assert set(planned) == {row["pair_id"] for row in asked(client)["items"]} == {"oxford"}


@pytest.mark.slow
def test_an_aged_plan_gives_page_and_bench_one_day_on_which_a_pair_is_back(client, services, clock):
    """Who is asked for today is back as the bench says of pairs that come today."""
    assert client.post("/v1/bench-plans", json={"months": 12}).status_code == 201
    clock.move(days=10)
    due_soon(services, -5)
    page = client.get("/workload").text
    row = page[page.index('data-label="ask for"') :].split("</tr>")[0]
    assert ">now<" in row
    last = pd.Timestamp(re.search(r"to (\d+ \w+ \d{4})<", row)[1])
    said = re.search(r"come today are back by (.*?)\.", client.get("/bench").text)[1]
    assert said == f"{last:%a} {last.day} {last:%b}"


@pytest.mark.slow
def test_list_year_plan_and_workload_ask_for_the_same_pairs(client, services):
    """The forecasts move after the plan is made, so the plan alone would say something else."""
    assert client.post("/v1/bench-plans", json={"months": 12}).status_code == 201
    due_soon(services, 30)
    (item,) = asked(client)["items"]
    page = client.get("/workload").text
    assert page.count('data-label="ask for"') == 1
    asked_on = wording.short_date(date.fromisoformat(item["ask_on"]))
    assert f'<td data-label="ask for" class="when">{asked_on}</td>' in page
    sheet = client.get("/workload/year-plan").text
    owners = sheet[sheet.index("Owners to ask") :].split("</tr>")[0]
    assert sum(map(int, re.findall(r"<td>(\d+)</td>", owners))) == 1


def test_the_share_that_proved_due_is_not_yet_known_without_a_past(client, services):
    assert asked(client)["proved"] == {"asked": 0, "due": 0, "days": 180, "share": None}
    assert "not yet known" in client.get("/workload/asked").text
    looks = [{"asked": 30, "asked_due": 20}, {"asked": 10, "asked_due": 4}, {"came": 7}]
    with services.database.writing() as session:
        keep_looks(session, services.clock.today(), looks)
    assert asked(client)["proved"]["share"] == 0.6
    page = client.get("/workload/asked").text
    assert "Of 40 pairs that past years would have asked like this, 60% proved due" in page


def test_the_page_says_why_and_counts_who_is_left_out(client, services):
    due_soon(services)
    page = client.get("/workload/asked").text
    assert "1 pair would be asked for within a year, on their send-by days." in page
    assert "Nothing is known of the pair itself: 1" in page
    chosen = client.get("/workload/asked?why=unknown").text
    assert "/pairs/derby" in chosen
    assert client.get("/workload/asked?why=nonsense").status_code == 200
    assert client.get("/v1/asked-pairs?why=nonsense").status_code == 422


def test_an_unfitted_rack_asks_nobody_and_says_what_to_do(bare_client):
    assert bare_client.get("/v1/asked-pairs").status_code == 409
    assert "no forecast yet" in bare_client.get("/workload/asked").text


def test_all_pairs_are_judged_each_once(services):
    rows = asked_in_year(services.database, services.clock)["rows"]
    assert sorted(rows["pair_id"]) == ["derby", "oxford"]
