"""Do programs get over HTTP what the pages show, and are wrong messages refused?"""

from __future__ import annotations

import pytest

from solespan.api.author import Author
from solespan.api.services.notices.sending import Sender
from solespan.api.storage.audit import list_audit
from tests.api.notices.people import RULES


def test_rules_are_read_and_replaced_by_those_who_read_them(client):
    read = client.get("/v1/notices/rules")
    assert read.json()["rules"] == RULES.model_dump(mode="json")
    body = read.json()["rules"] | {"weeks_ahead": 2}
    assert client.put("/v1/notices/rules", json=body).status_code == 428
    first = client.put("/v1/notices/rules", json=body, headers={"if-match": read.headers["etag"]})
    assert first.status_code == 200
    again = client.put("/v1/notices/rules", json=body, headers={"if-match": read.headers["etag"]})
    assert again.status_code == 412
    assert again.json()["title"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"bands": ["sound"]},
        {"bands": ["watch", "watch"]},
        {"channels": []},
        {"channels": ["pigeon"]},
        {"quiet_from": "24:00"},
        {"shop_name": "a\r\nBcc: x"},
        {"reply_to": "a@b\r\nBcc: x"},
        {"weeks_between": 0},
        {"webhook_url": "file:///x"},
        {"unknown": 1},
    ],
)
def test_rules_that_cannot_be_are_refused(client, wrong):
    answer = client.put("/v1/notices/rules", json=wrong, headers={"if-match": "*"})
    assert answer.status_code == 422
    assert client.get("/v1/notices/rules").json()["rules"] == RULES.model_dump(mode="json")


def test_a_wording_with_an_error_is_refused_with_part_and_line(client):
    body = client.get("/v1/notices/template").json()["template"]
    broken = body | {"html": body["html"].replace("{% endfor %}", "", 1)}
    answer = client.put("/v1/notices/template", json=broken, headers={"if-match": "*"})
    assert answer.status_code == 422
    assert "html, line" in answer.text
    kept = client.put("/v1/notices/template", json=body, headers={"if-match": "*"})
    assert kept.json()["version"] == 1


def test_the_preview_gives_every_pair_its_reason(client):
    page = client.get("/v1/notices/preview", params={"limit": 200}).json()
    assert page["total"] == 12 == len(page["items"])
    assert sum(page["counts"].values()) == 12
    assert all(item["reason"] for item in page["items"])
    only = client.get("/v1/notices/preview", params={"verdict": "no", "wearer_id": "cy"}).json()
    assert {item["wearer_id"] for item in only["items"]} == {"cy"}
    assert client.get("/v1/notices").json()["items"] == []


def test_a_run_is_answered_once_for_one_key_and_its_notices_are_listed(client, shop):
    first = client.post("/v1/notices/runs", headers={"idempotency-key": '"run-1"'})
    assert first.status_code == 201
    assert (first.json()["notices"], first.json()["pairs"]) == (2, 6)
    again = client.post("/v1/notices/runs", headers={"idempotency-key": '"run-1"'})
    assert again.json() == first.json()
    assert client.post("/v1/notices/runs").json()["notices"] == 0
    page = client.get("/v1/notices", params={"limit": 1}).json()
    rest = client.get("/v1/notices", params={"limit": 5, "after": page["next"]}).json()
    rows = page["items"] + rest["items"]
    assert {row["wearer_id"] for row in rows} == {"ada", "bo"}
    told = client.get(f"/v1/notices/{rows[0]['notice_id']}").json()
    assert len(told["pairs"]) == 3
    assert "Oxford" in told["text"]
    assert client.post(f"/v1/notices/{rows[0]['notice_id']}/retry").status_code == 409
    assert client.get("/v1/notices/nothing").status_code == 404
    Sender(shop, worker="one", chance=lambda: 0.5).drain()
    waiting = client.get("/v1/notices", params={"state": "pending"}).json()["items"]
    assert [row["attempts"] for row in waiting] == [1, 1]


def test_a_shop_that_lacks_something_cannot_run(client, change):
    change(shop_name="")
    answer = client.post("/v1/notices/runs")
    assert answer.status_code == 422
    assert "shop's name" in answer.json()["detail"]


def test_consents_keep_how_and_by_whom_and_what_was_withdrawn(client):
    body = {"wearer_id": "cy", "channel": "print", "how": "by phone", "by": "Mo"}
    assert client.post("/v1/consents", json=body).status_code == 201
    assert client.post("/v1/consents", json=body).status_code == 200
    ended = {"wearer_id": "cy", "channel": "print"}
    (row,) = client.post("/v1/consents/withdrawals", json=ended).json()["items"]
    assert (row["given_how"], row["given_by"]) == ("by phone", "Mo")
    assert row["withdrawn_how"] == "told the shop"
    assert client.post("/v1/consents", json=body).status_code == 201
    assert len(client.get("/v1/consents", params={"wearer_id": "cy"}).json()["items"]) == 2
    assert client.post("/v1/consents", json=body | {"wearer_id": "no"}).status_code == 404
    future = client.post("/v1/consents", json=body | {"wearer_id": "bo", "on": "2026-12-24"})
    assert future.status_code == 422
    assert client.post("/v1/consents", json=body | {"by": ""}).status_code == 422


def test_a_postal_address_belongs_to_letters_and_goes_with_the_consent(client):
    body = {"wearer_id": "cy", "channel": "print", "how": "by phone", "by": "Mo"}
    posted = body | {"address": " 1 Welt Row\nUpper Town "}
    given = client.post("/v1/consents", json=posted)
    assert given.status_code == 201
    assert given.json()["address"] == "1 Welt Row\nUpper Town"
    assert client.post("/v1/consents", json=posted | {"channel": "mail"}).status_code == 422
    for wrong in ("x" * 501, "a\x00b", "a\x1b[2Jb", "  "):
        refused = client.post("/v1/consents", json=body | {"address": wrong})
        assert refused.status_code == 422
    (row,) = client.get("/v1/consents", params={"wearer_id": "cy"}).json()["items"]
    assert row["address"] == "1 Welt Row\nUpper Town"
    ended = {"wearer_id": "cy", "channel": "print"}
    (row,) = client.post("/v1/consents/withdrawals", json=ended).json()["items"]
    assert row["address"] is None


def test_bounces_stop_an_address_and_can_be_lifted(client):
    stopped = client.post("/v1/bounces", json={"address": "ADA@mail.example"}).json()
    assert stopped == {"stopped": True, "customers": 1}
    seen = client.get("/v1/notices/preview", params={"wearer_id": "ada"}).json()
    assert seen["counts"]["stopped"] == 2
    lifted = client.post("/v1/bounces/lifted", json={"address": "ada@mail.example"}).json()
    assert lifted == {"stopped": False, "customers": 1}
    assert client.post("/v1/bounces", json={"address": "nowhere"}).status_code == 422


def test_the_audit_log_counts_the_notices_of_a_run_and_names_nobody(client, shop):
    seen = shop.for_tenant(1, Author("mo", "POST"))
    client.app.state.services = seen
    made = client.post("/v1/notices/runs").json()
    with shop.database.reading() as session:
        (entry,) = list_audit(session, after=None, limit=9)
    assert entry["subject"] == {"notices": str(made["notices"])} == {"notices": "2"}
