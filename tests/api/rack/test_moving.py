"""Does a record logged on the wrong pair move to the right one, with history and undo?"""

from __future__ import annotations

import re

import pytest

from tests.api.rack.test_adding import post, rows

DAY = "2026-11-24"


def log(client, pair, **values):
    body = {"pair_id": pair, "worn_on": DAY, "hours": 6, **values}
    assert client.post("/v1/wear-days", json=body).status_code in (200, 201)


def days_of(client, pair):
    return [str(row["worn_on"]) for row in rows(client, "wear_days", pair_id=pair)]


@pytest.fixture
def pairs(client):
    two = [row["pair_id"] for row in rows(client, "pairs")][:2]
    for pair in two:
        client.delete(f"/v1/wear-days/{pair}/{DAY}", headers={"if-match": "*"})
    return two


def test_a_wear_day_moves_by_its_page_and_back(client, pairs):
    one, two = pairs
    log(client, one)
    before = {pair: days_of(client, pair) for pair in pairs}
    address = f"/records/wear_days/{one}%2F{DAY}"
    assert "Move to another pair" in client.get(address).text
    moved = post(client, f"{address}/move", {"pair": two})
    location = moved.headers["location"]
    assert location.startswith(f"/records/wear_days/{two}%2F{DAY}?said=moved&undo=")
    page = client.get(location).text
    assert f"Pair: {one} → {two}" in page
    assert DAY in days_of(client, two)
    assert DAY not in days_of(client, one)
    line = re.search(r'name="line" value="(\d+)"', page)[1]
    back = post(client, f"/records/wear_days/{two}%2F{DAY}/put-back", {"line": line})
    assert back.headers["location"].startswith(address)
    assert {pair: days_of(client, pair) for pair in pairs} == before


def test_a_move_is_undone(client, pairs):
    one, two = pairs
    log(client, one)
    before = {pair: days_of(client, pair) for pair in pairs}
    moved = post(client, f"/records/wear_days/{one}%2F{DAY}/move", {"pair": two})
    revision = re.search("undo=([0-9a-f]{32})", moved.headers["location"])[1]
    assert post(client, f"/history/{revision}/undo", {}).status_code == 303
    assert {pair: days_of(client, pair) for pair in pairs} == before


def test_what_cannot_be_moved_stays_and_the_page_says_why(client, pairs):
    one, two = pairs
    for pair in pairs:
        log(client, pair)
    address = f"/records/wear_days/{one}%2F{DAY}/move"
    for there, status in ((two, 409), ("no such pair", 404), ("", 404)):
        answer = post(client, address, {"pair": there})
        assert answer.status_code == status, there
        assert 'role="alert"' in answer.text
    assert post(client, address, {"pair": one}).headers["location"].endswith("said=same")
    assert DAY in days_of(client, one)


def test_a_program_moves_a_wear_day(client, pairs):
    one, two = pairs
    log(client, one)
    address = f"/v1/wear-days/{one}/{DAY}/pair"
    assert client.put(address, json={"pair_id": "none"}, headers={"if-match": "*"}).is_error
    answer = client.put(address, json={"pair_id": two}, headers={"if-match": "*"})
    assert (answer.status_code, answer.json()["pair_id"]) == (200, two)
    history = client.get(f"/v1/wear-days/{two}/{DAY}/history").json()["entries"]
    assert history[0]["before"]["pair_id"] == one
    assert client.put("/v1/soles/x/pair", json={"pair_id": two}).status_code in (404, 405)
