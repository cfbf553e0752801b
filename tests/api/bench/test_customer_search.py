"""Does a program, a command and the page find the same customers?"""

from __future__ import annotations

import json
import re

import pytest

PATH = "/v1/customer-searches"


@pytest.fixture
def find(client):
    def _find(words="", page=1):
        answer = client.post(PATH, json={"words": words, "page": page})
        assert answer.status_code == 200, answer.text
        return answer.json()

    return _find


def test_a_program_finds_whom_the_page_finds(client, find):
    token = re.search(r'name="form_token" value="([^"]+)"', client.get("/reception").text)[1]
    everyone = find()
    assert everyone["items"]
    for one in everyone["items"]:
        words = one["name"] or one["wearer_id"]
        found = find(words)["items"]
        assert one in found
        page = client.post("/find-customer", data={"form_token": token, "q": words}).text
        assert all(each["wearer_id"] in page for each in found)


def test_an_open_order_stands_beside_its_pair_and_is_found_by_its_ticket(client, find):
    given = {"name": "Zora", "what": "red boot, needs a sole"}
    assert client.post("/v1/receptions", json=given).status_code == 201
    told = [p["order"] for one in find()["items"] for p in one["pairs"] if p["order"]]
    assert told
    for order in told:
        if order["ticket"] is not None:
            items = find(f"#{order['ticket']}")["items"]
            assert any(p["order"] == order for one in items for p in one["pairs"])


def test_what_nobody_has_finds_nobody(find):
    assert find("100% nobody_") == {"items": [], "page": 1, "more": False}
    assert find("", page=999_999)["items"] == []


@pytest.mark.parametrize("wrong", [{"words": "x" * 201}, {"page": 0}, {"name": "Ada"}])
def test_what_cannot_be_looked_for_is_refused(client, wrong):
    answer = client.post(PATH, json=wrong)
    assert answer.status_code == 422
    assert json.loads(answer.text)["errors"]
