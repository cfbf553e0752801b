"""Is a consent of many written down once, for those who never answered, with its basis?"""

from __future__ import annotations

import re

import pytest
from sqlalchemy import update

from solespan.api.schemas.notices.many_consents import BASES, MOST_HOW
from solespan.api.services.notices.many_consents import count_reached
from solespan.api.storage.notices.consents import consents_of
from solespan.api.storage.tables.rack import Wearer

FORM = {"basis": BASES[0], "how": "the form of 2026", "by": "Mo", "sure": "true"}
PATH = "/notices/customers/many"


def post(client, **fields):
    page = client.get(PATH)
    counts = dict(re.findall(r'name="(count_\w+)" value="(\d+)"', page.text))
    token = re.search(r'name="form_token" value="([^"]+)"', page.text)[1]
    typed = {"form_token": token, **counts, **FORM, **fields}
    return client.post(PATH, data=typed, follow_redirects=False)


def held(shop, channel):
    with shop.database.reading() as session:
        rows = consents_of(session, None, 99)
    return {row["wearer_id"]: row for row in rows if row["channel"] == channel}


def test_all_whom_a_letter_reaches_are_written_down_once_with_the_basis(client, shop):
    before = held(shop, "print")
    assert post(client, channel="print").status_code == 303
    rows = held(shop, "print")
    assert set(rows) == {"ada", "bo", "cy"}
    new = rows[next(name for name in rows if name not in before)]
    assert new["given_how"] == f"of many: {BASES[0]}; the form of 2026"
    assert new["given_by"] == "Mo"
    with shop.database.reading() as session:
        assert count_reached(session)["print"] == 0


def test_what_shows_it_is_kept_whole(client, shop):
    how = "x" * MOST_HOW
    assert post(client, channel="print", basis=max(BASES, key=len), how=how).status_code == 303
    assert any(row["given_how"].endswith(how) for row in held(shop, "print").values())


def test_who_withdrew_is_not_written_down_again(client, shop):
    post(client, channel="print")
    page = client.get("/notices/customers").text
    token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
    ended = {"form_token": token, "do": "withdraw", "wearer": "ada", "channel": "print"}
    client.post("/notices/customers", data=ended)
    with shop.database.reading() as session:
        assert count_reached(session)["print"] == 0


def test_a_telephone_way_takes_the_numbers_that_can_be_used(client, shop):
    with shop.database.writing() as session:
        for name, phone in (("ada", "0043 1 234 56 78"), ("bo", "ask his wife")):
            session.execute(update(Wearer).where(Wearer.wearer_id == name).values(phone=phone))
    assert post(client, channel="sms").status_code == 303
    assert {name: row["address"] for name, row in held(shop, "sms").items()} == {
        "ada": "+4312345678"
    }


@pytest.mark.parametrize(
    "wrong",
    [
        {"sure": ""},
        {"basis": "because"},
        {"how": " "},
        {"by": ""},
        {"how": "a\tb"},
        {"how": "x" * 141},
        {"by": "y" * 300},
        {"count_print": "7"},
        {"channel": "pigeon"},
    ],
)
def test_nothing_is_written_where_something_is_missing(client, shop, wrong):
    before = held(shop, "print")
    assert post(client, **{"channel": "print"} | wrong).status_code == 422
    assert held(shop, "print") == before


def test_a_program_writes_the_same_down_once_and_all_or_none(client, shop):
    reach = client.get("/v1/consents/many").json()
    count = {one["channel"]: one["customers"] for one in reach["items"]}["print"]
    body = {"channel": "print", "basis": BASES[0], "how": "the form of 2026", "by": "Mo"}
    before = held(shop, "print")
    answer = client.post("/v1/consents/many", json=body | {"customers": count + 1})
    assert answer.status_code == 422
    assert held(shop, "print") == before
    answer = client.post("/v1/consents/many", json=body | {"customers": count})
    assert (answer.status_code, answer.json()) == (201, {"channel": "print", "customers": count})
    assert len(held(shop, "print")) == len(before) + count
    assert client.post("/v1/consents/many", json=body | {"customers": 0}).json()["customers"] == 0
