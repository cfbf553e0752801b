"""Are many wear days put and removed in one request, all of them or none."""

from __future__ import annotations

import pytest

BATCH = "/v1/wear-days/batch"


def days(client, **params):
    """Every logged day, by pair and day."""
    answer = client.get("/v1/wear-days", params={"limit": 200, **params}).json()
    return {(row["pair_id"], row["worn_on"]): row for row in answer["items"]}


def day(pair_id, worn_on, **more):
    return {"pair_id": pair_id, "worn_on": worn_on, **more}


JANUARY = [day("derby", f"2026-01-{n:02d}") for n in range(1, 31)]


def test_a_batch_puts_replaces_and_removes_and_says_how_many(logged):
    put = [*JANUARY, day("oxford", "2026-01-05", hours=3, version=1)]
    remove = [day("oxford", "2026-01-12"), day("oxford", "2026-01-19", version=1)]
    answer = logged.post(BATCH, json={"put": put, "remove": remove})
    assert answer.status_code == 200, answer.text
    assert answer.json() == {"created": 30, "replaced": 1, "deleted": 2, "unchanged": 0}
    after = days(logged)
    assert after["oxford", "2026-01-05"]["hours"] == 3
    assert ("oxford", "2026-01-12") not in after
    again = logged.post(BATCH, json={"put": put, "remove": remove})
    assert again.json() == {"created": 0, "replaced": 0, "deleted": 0, "unchanged": 33}
    assert days(logged) == after, "the same batch twice changes nothing"


@pytest.mark.parametrize(
    ("wrong", "status", "place"),
    [
        ({"put": [day("derby", "2027-01-01")]}, 422, "#/put/1/worn_on"),
        ({"put": [day("derby", "2025-11-01")]}, 422, "#/put/1/worn_on"),
        ({"put": [day("derbi", "2026-01-02")]}, 422, "#/put/1/pair_id"),
        ({"put": [day("derby", "2026-01-01", hours=2)]}, 422, "#/put/0/worn_on"),
        ({"put": [day("oxford", "2026-01-05")]}, 409, "put/1"),
        ({"put": [day("oxford", "2026-01-05", hours=2, version=7)]}, 412, "put/1"),
        ({"put": [day("derby", "2026-03-05", version=1)]}, 412, "put/1"),
        ({"remove": [day("oxford", "2026-01-05", version=7)]}, 412, "remove/0"),
        ({"remove": [day("derbi", "2026-01-05")]}, 422, "#/remove/0/pair_id"),
        ({"remove": [day("derby", "2026-01-01")]}, 422, "#/put/0/worn_on"),
    ],
)
def test_one_row_that_cannot_be_done_keeps_all_from_being_done(logged, wrong, status, place):
    before = days(logged)
    put = [day("derby", "2026-01-01"), *wrong.get("put", [])]
    answer = logged.post(BATCH, json={"put": put, "remove": wrong.get("remove", [])})
    assert answer.status_code == status, answer.text
    told = answer.json()
    assert place in (told["errors"][0]["pointer"] if "errors" in told else told["where"])
    assert days(logged) == before


def test_the_forecasts_of_every_wearer_named_follow(fitted):
    before = {w: fitted.get("/v1/due", params={"wearer_id": w}).json() for w in ("ada", "ben")}
    put = [*JANUARY, *(day("boot", f"2026-02-{n:02d}") for n in range(1, 29))]
    assert fitted.post(BATCH, json={"put": put}).json()["created"] == 58
    for wearer_id, was in before.items():
        assert fitted.get("/v1/due", params={"wearer_id": wearer_id}).json() != was


def test_a_batch_that_is_sent_again_with_its_key_gets_the_same_answer(logged):
    key = {"idempotency-key": '"batch"'}
    first = logged.post(BATCH, json={"put": JANUARY}, headers=key)
    again = logged.post(BATCH, json={"put": JANUARY}, headers=key)
    assert again.json() == first.json()
    assert again.headers["idempotency-replayed"] == "true"


def test_a_batch_has_a_largest_size_and_may_be_empty(logged):
    many = [day("derby", "2026-01-01")] * 501
    assert logged.post(BATCH, json={"remove": many}).status_code == 422
    assert logged.post(BATCH, json={}).json()["created"] == 0
