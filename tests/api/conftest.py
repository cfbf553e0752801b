"""Which service, clock and rack do the tests of the service work on?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.clock import Clock
from solespan.api.settings import Settings
from solespan.api.wiring import Services, build_services
from tests.databases import Databases

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
BASE = "http://127.0.0.1:8000"


class MovableClock(Clock):
    """A clock that stands still until it is moved."""

    moment = NOW

    def __init__(self) -> None:
        super().__init__(now=lambda: self.moment)

    def move(self, **by: float) -> None:
        object.__setattr__(self, "moment", self.moment + timedelta(**by))


@pytest.fixture
def clock() -> MovableClock:
    return MovableClock()


@pytest.fixture(scope="session")
def app(databases: Databases) -> FastAPI:
    """The service, without the background thread; each test gives it a database of its own."""
    return create_app(Settings(database_url=databases.copy()), background=False)


@pytest.fixture(scope="session")
def running(app: FastAPI) -> Iterator[TestClient]:
    """One client for all tests: starting the service costs more than most of them."""
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        yield client


@contextmanager
def serving(client: TestClient, address: str, clock: Clock) -> Iterator[Services]:
    """Let the client's service work on this database."""
    services = build_services(Settings(database_url=address), clock)
    client.app.state.services = services
    yield services
    services.database.close()


@pytest.fixture
def services(running: TestClient, new_address: str, clock: MovableClock) -> Iterator[Services]:
    """What stands behind `client`: an empty database."""
    with serving(running, new_address, clock) as services:
        yield services


@pytest.fixture
def client(running: TestClient, services: Services) -> TestClient:
    del services
    return running


def add_rack(client: TestClient) -> None:
    """Ada's two pairs, one worn since January and read twice; Ben has a pair of his own."""
    add = _adder(client)
    add("wearers", wearer_id="ada", time_zone="Europe/Vienna", driving_foot="left")
    add("wearers", wearer_id="ben")
    for pair_id, wearer_id in (("oxford", "ada"), ("derby", "ada"), ("boot", "ben")):
        add("pairs", pair_id=pair_id, wearer_id=wearer_id, construction="goodyear_welted")
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
        add("wear-days", pair_id="oxford", worn_on=day.isoformat(), wet=week % 4 == 0)
    for day, left, right in (("2026-01-04", 5.0, 5.0), ("2026-06-01", 4.1, 4.3)):
        for foot, value_mm in (("left", left), ("right", right)):
            add(
                "checks",
                pair_id="oxford",
                checked_on=day,
                foot=foot,
                point="ball",
                method="caliper",
                value_mm=value_mm,
            )


@pytest.fixture(name="add_rack")
def _add_rack():
    return add_rack


def _adder(client: TestClient):
    def add(path: str, **body: object) -> None:
        answer = client.post(f"/v1/{path}", json=body)
        assert answer.status_code == 201, answer.text

    return add


@pytest.fixture(scope="session")
def logged_template(running: TestClient, databases: Databases) -> str:
    """A database with the rack and no fit, made once: changes need no forecast there."""
    address = databases.copy()
    with serving(running, address, MovableClock()):
        add_rack(running)
    return address


@pytest.fixture(scope="session")
def fitted_template(running: TestClient, databases: Databases, logged_template: str) -> str:
    """The same with a fit of it and everyone's forecasts, made once."""
    address = databases.copy(logged_template)
    with serving(running, address, MovableClock()) as services:
        services.fitter.refit()
        assert services.forecaster.update_behind(everyone=True) == 2
    return address


@pytest.fixture
def logged_services(
    running: TestClient,
    logged_template: str,
    own_database: Callable[..., str],
    clock: MovableClock,
) -> Iterator[Services]:
    """What stands behind `logged`: a copy of the rack without a fit."""
    with serving(running, own_database(logged_template), clock) as services:
        yield services


@pytest.fixture
def logged(running: TestClient, logged_services: Services) -> TestClient:
    del logged_services
    return running


@pytest.fixture
def fitted_services(
    running: TestClient,
    fitted_template: str,
    own_database: Callable[..., str],
    clock: MovableClock,
) -> Iterator[Services]:
    """What stands behind `fitted`: a copy of the fitted rack."""
    with serving(running, own_database(fitted_template), clock) as services:
        yield services


@pytest.fixture
def fitted(running: TestClient, fitted_services: Services) -> TestClient:
    del fitted_services
    return running


@pytest.fixture
def bodies() -> dict[str, dict[str, object]]:
    """One record of each table that the rack accepts and does not hold yet."""
    return {
        "wearers": {"wearer_id": "cleo", "time_zone": "Asia/Tokyo"},
        "pairs": {"pair_id": "monk", "wearer_id": "ada", "construction": "blake", "size_eu": 42},
        "soles": {
            "sole_id": "derby-2",
            "pair_id": "derby",
            "fitted_on": "2026-06-01",
            "material": "rubber",
            "nominal_thickness_mm": 6,
        },
        "wear-days": {"pair_id": "derby", "worn_on": "2026-06-10", "hours": 6.5},
        "checks": {
            "pair_id": "derby",
            "checked_on": "2026-06-10",
            "foot": "left",
            "point": "ball",
            "method": "thumb",
            "grade": "firm",
        },
        "bench-jobs": {
            "job_id": "job-1",
            "pair_id": "boot",
            "work": "top_piece",
            "received_on": "2026-06-01",
            "returned_on": "2026-06-08",
        },
    }
