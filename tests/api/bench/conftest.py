"""Which service and rack do the bench's tests work on?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.clock import Clock
from solespan.api.settings import Settings
from solespan.api.wiring import Services, build_services
from tests.databases import Databases

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
BASE = "http://127.0.0.1:8000"


@pytest.fixture(scope="session")
def running(databases: Databases) -> Iterator[TestClient]:
    """One client for all tests; each test gives it a database of its own."""
    app = create_app(Settings(database_url=databases.copy()), background=False)
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        yield client


@contextmanager
def _serving(client: TestClient, address: str) -> Iterator[Services]:
    services = build_services(Settings(database_url=address), Clock(now=lambda: NOW))
    client.app.state.services = services
    yield services
    services.database.close()


def _add_rack(client: TestClient) -> None:
    def add(path: str, **body: object) -> None:
        answer = client.post(f"/v1/{path}", json=body)
        assert answer.status_code == 201, answer.text

    add("wearers", wearer_id="ada", time_zone="Europe/Vienna", name="Ada <b>&")
    for pair_id in ("oxford", "derby"):
        add("pairs", pair_id=pair_id, wearer_id="ada", construction="goodyear_welted", size_eu=42)
        add(
            "soles",
            sole_id=f"{pair_id}-1",
            pair_id=pair_id,
            fitted_on="2025-12-01",
            material="oak_bark_leather",
            nominal_thickness_mm=5.0,
        )
    for week in range(20):
        day = date(2026, 1, 5) + timedelta(weeks=week)
        add("wear-days", pair_id="oxford", worn_on=day.isoformat())
    for foot in ("left", "right"):
        add(
            "checks",
            pair_id="oxford",
            checked_on="2026-06-01",
            foot=foot,
            point="ball",
            method="caliper",
            value_mm=2.4,
        )


@pytest.fixture(scope="session")
def fitted_bench(running: TestClient, databases: Databases) -> str:
    """A database with a rack, a fit of it and its forecasts, made once."""
    address = databases.copy()
    with _serving(running, address) as services:
        _add_rack(running)
        services.fitter.refit()
        services.forecaster.update_behind(everyone=True)
    return address


@pytest.fixture
def services(
    running: TestClient, fitted_bench: str, own_database: Callable[..., str]
) -> Iterator[Services]:
    """What stands behind `client`: a copy of the fitted rack."""
    with _serving(running, own_database(fitted_bench)) as services:
        yield services


@pytest.fixture
def client(running: TestClient, services: Services) -> TestClient:
    del services
    return running


@pytest.fixture
def bare_client(running: TestClient, new_address: str) -> Iterator[TestClient]:
    """The service on an empty database."""
    with _serving(running, new_address):
        yield running


@pytest.fixture
def either_client(new_address: str, running: TestClient) -> Iterator[TestClient]:
    """The service on an unfitted rack."""
    with _serving(running, new_address):
        _add_rack(running)
        yield running


def foot(ball: float = 5.0, waist: float = 4.8, width: float = 78.0) -> dict[str, object]:
    """One shoe's measures."""
    return {
        "thickness_mm": {"ball": ball, "waist": waist},
        "width_mm": {"ball": width, "waist": 40.0, "heel_seat": 60.0},
        "heel_layers_mm": [6.0, 4.0, 4.0],
        "stitches_per_inch": 9,
    }


ANY = {"if-match": "*"}


class Bench:
    """Takes orders through their stages as a person would."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def book(self, pair_id: str = "oxford", work: str = "full_sole", **more: object) -> dict:
        body = {"pair_id": pair_id, "work": work, **more}
        answer = self.client.post("/v1/bench-orders", json=body)
        assert answer.status_code == 201, answer.text
        return answer.json()

    def move(self, order: dict, to: str, **more: object):
        body = {"to": to, "version": order["version"], **more}
        return self.client.post(f"/v1/bench-orders/{order['order_id']}/moves", json=body)

    def moved(self, order: dict, to: str, **more: object) -> dict:
        answer = self.move(order, to, **more)
        assert answer.status_code == 201, answer.text
        return answer.json()

    def file(self, order: dict, kind: str, body: dict) -> dict:
        answer = self.client.put(
            f"/v1/bench-orders/{order['order_id']}/{kind}", json=body, headers=ANY
        )
        assert answer.status_code == 200, answer.text
        return answer.json()

    def on_bench(self, **more: object) -> dict:
        order = self.moved(self.book(**more), "received")
        worn = {"left": foot(ball=2.3), "right": foot(ball=2.2)}
        self.file(order, "before", worn)
        return self.moved(order, "on_bench", worker="Mo")

    def finish(self, order: dict, **more: object):
        sole = {"material": "oak_bark_leather", "channel": "closed"}
        return self.move(order, "checked", bench_minutes=125, new_sole=sole, **more)


@pytest.fixture
def bench(client: TestClient) -> Bench:
    return Bench(client)


@pytest.fixture(name="foot")
def _foot():
    return foot


@pytest.fixture(name="bench_of")
def _bench_of():
    return Bench
