"""Does the same Idempotency-Key give the same answer once, for 24 hours, and no other?

Rules: draft-ietf-httpapi-idempotency-key-header, sections 2.1 to 2.7 (an internet draft).
"""

from __future__ import annotations

import threading

import pytest
from sqlalchemy import text

from solespan.api.services.idempotency import Answered, MalformedKey, read_key

DAY = {"pair_id": "derby", "worn_on": "2026-06-10"}


def post(client, body, key="k1", path="wear-days"):
    return client.post(f"/v1/{path}", json=body, headers={"idempotency-key": f'"{key}"'})


@pytest.mark.parametrize("path", ["wearers", "pairs", "soles", "wear-days", "checks", "bench-jobs"])
def test_the_same_key_twice_makes_one_row_and_replays_the_answer(logged, bodies, path):
    first, again = (post(logged, bodies[path], path=path) for _ in range(2))
    assert (again.status_code, again.content) == (201, first.content)
    assert again.headers["etag"] == first.headers["etag"]
    assert again.headers["location"] == first.headers["location"]
    assert "idempotency-replayed" not in first.headers
    assert again.headers["idempotency-replayed"] == "true"


def test_a_row_whose_id_the_service_makes_is_made_once(logged):
    ids = {post(logged, {"name": "Cleo"}, path="wearers").json()["wearer_id"] for _ in range(3)}
    assert len(ids) == 1


def test_another_body_with_the_same_key_is_refused(logged):
    post(logged, DAY)
    answer = post(logged, DAY | {"wet": True})
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/key-reused")


def test_the_same_key_on_another_route_is_another_key(logged, bodies):
    post(logged, bodies["pairs"], path="pairs")
    assert post(logged, bodies["soles"], path="soles").status_code == 201


def test_a_refused_request_does_not_use_up_its_key(logged):
    assert post(logged, DAY | {"worn_on": "2027-01-01"}).status_code == 422
    assert post(logged, DAY).status_code == 201


def test_a_key_is_forgotten_after_24_hours(logged, clock):
    post(logged, DAY)
    clock.move(hours=23)
    assert post(logged, DAY).headers["idempotency-replayed"] == "true"
    clock.move(hours=2)
    later = post(logged, DAY)
    assert later.status_code == 200  # the wear day stands there already
    assert "idempotency-replayed" not in later.headers


def test_the_answer_is_kept_in_the_transaction_that_made_the_row(
    logged, logged_services, monkeypatch
):
    """When the answer cannot be kept, the row is not made either."""
    monkeypatch.setattr("solespan.api.services.idempotency.keep_answer", _fail)
    assert post(logged, DAY).status_code == 500
    monkeypatch.undo()
    assert logged.get("/v1/wear-days/derby/2026-06-10").status_code == 404
    with logged_services.database.reading() as session:
        assert session.execute(text("SELECT count(*) FROM idempotency_keys")).scalar() == 0


def _fail(*_args, **_kwargs):
    raise RuntimeError("the disk is full")


def test_when_the_first_runs_too_long_the_second_is_told_when_to_come_again(
    services, client, monkeypatch
):
    monkeypatch.setattr(services.idempotency, "wait_s", 0.0)
    started, release = threading.Event(), threading.Event()

    def slow(_session):
        started.set()
        assert release.wait(120)
        return Answered(201, {"made": 1})

    answers = []
    first = threading.Thread(
        target=lambda: answers.append(services.idempotency.once("POST /v1/wearers", "k", "f", slow))
    )
    first.start()
    assert started.wait(120)
    second = post(client, {"name": "Cleo"}, key="k", path="wearers")
    release.set()
    first.join()
    assert (second.status_code, second.json()["type"]) == (409, "/problems/request-running")
    assert second.headers["retry-after"] == "1"
    assert answers == [Answered(201, {"made": 1})]


def test_many_at_once_with_one_key_make_one_row(logged):
    answers = []

    def send():
        answers.append(post(logged, {"name": "Cleo"}, path="wearers"))

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {a.status_code for a in answers} == {201}
    assert len({a.json()["wearer_id"] for a in answers}) == 1
    people = logged.get("/v1/wearers").json()["items"]
    assert sum(p["name"] == "Cleo" for p in people) == 1


@pytest.mark.parametrize(
    ("header", "key"),
    [
        ('"8e03978e"', "8e03978e"),
        ("8e03978e", "8e03978e"),
        (r'"a\"b\\c"', r'a"b\c'),
        ('"with space"', "with space"),
        ('"k";p=1', "k"),
        (None, None),
    ],
)
def test_a_key_is_read_quoted_or_bare(header, key):
    """Quoted strings as in RFC 8941, section 3.3.3; a bare key is this service's leniency."""
    assert read_key(header) == key


@pytest.mark.parametrize("header", ["", '""', '"open', "two words", '"' + "k" * 129 + '"', '"é"'])
def test_what_is_no_key_is_refused(header):
    with pytest.raises(MalformedKey):
        read_key(header)
