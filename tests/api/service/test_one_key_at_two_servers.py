"""One Idempotency-Key at two servers: the second sender gets the answer of the first."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from functools import partial

import pytest
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.services.idempotency import Answered, RequestRunning
from solespan.api.settings import Settings
from solespan.api.wiring import build_services

BASE = "http://127.0.0.1:8000"
DAYS = [f"2026-06-0{day}" for day in range(1, 7)]


def bodies_of(day: str) -> dict[str, dict[str, object]]:
    """Records of a day whose ids the service makes, or whose day is their key."""
    sole = {"pair_id": "derby", "material": "rubber", "nominal_thickness_mm": 6}
    check = {"pair_id": "derby", "foot": "left", "point": "ball", "method": "thumb"}
    return {
        "wearers": {"name": day},
        "pairs": {"wearer_id": "ada", "construction": "blake"},
        "soles": sole | {"fitted_on": day},
        "checks": check | {"checked_on": day, "grade": "firm"},
        "wear-days": {"pair_id": "derby", "worn_on": day},
        "bench-jobs": {"pair_id": "boot", "work": "top_piece", "received_on": day},
    }


@pytest.fixture
def servers(logged_template, own_database, clock) -> Iterator[list[TestClient]]:
    """Two applications, each with connections and locks of its own."""
    address, clients = own_database(logged_template), []
    for _ in range(2):
        app = create_app(Settings(database_url=address), clock=clock, background=False)
        clients.append(TestClient(app, base_url=BASE, raise_server_exceptions=False))
    yield clients
    for client in clients:
        client.app.state.services.database.close()


def at_once(*calls):
    """Run these in a thread each, begun together; return what each gave."""
    start, given = threading.Barrier(len(calls)), [None] * len(calls)

    def run(place, call):
        start.wait()
        given[place] = call()

    threads = [threading.Thread(target=run, args=each) for each in enumerate(calls)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return given


@pytest.mark.slow
@pytest.mark.parametrize("path", bodies_of(""))
def test_the_second_sender_is_told_what_the_first_was(servers, path):
    for day in DAYS:
        sent = {"json": bodies_of(day)[path], "headers": {"idempotency-key": f'"{path}-{day}"'}}
        one, other = at_once(*(partial(client.post, f"/v1/{path}", **sent) for client in servers))
        assert (one.status_code, other.status_code) == (201, 201), one.text + other.text
        assert one.content == other.content
        replayed = [answer.headers.get("idempotency-replayed") for answer in (one, other)]
        assert replayed.count("true") == 1


def test_a_write_that_runs_at_another_server_is_waited_for_and_not_done_again(
    logged_template, own_database, clock
):
    address = own_database(logged_template)
    one, other = (build_services(Settings(database_url=address), clock) for _ in range(2))
    began, done = threading.Event(), []

    def work(_session):
        began.set()
        done.append(1)
        return Answered(201, {"made": 1})

    first = threading.Thread(target=one.idempotency.once, args=("r", "k", "f", work))
    first.start()
    assert began.wait(120)
    again = other.idempotency.once("r", "k", "f", work)
    first.join()
    assert again == Answered(201, {"made": 1}, replayed=True)
    assert len(done) == 1
    for services in (one, other):
        services.database.close()


@pytest.mark.slow
def test_a_write_that_runs_too_long_at_another_server_is_a_conflict_to_come_back_for(
    own_postgres, clock
):
    address = own_postgres()
    one = build_services(Settings(database_url=address), clock)
    other = build_services(Settings(database_url=address, database_wait_s=0.01), clock)

    def work(_session):
        with pytest.raises(RequestRunning) as told:
            other.idempotency.once("r", "k", "f", lambda _: Answered(201, {}))
        assert (told.value.status, told.value.retry_after_s) == (409, 1)
        return Answered(201, {"made": 1})

    assert one.idempotency.once("r", "k", "f", work).body == {"made": 1}
    for services in (one, other):
        services.database.close()
