"""Which rack and which browser do the page tests start from?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from datetime import UTC, datetime

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from solespan.api.app import create_app
from solespan.api.clock import Clock
from solespan.api.settings import Settings
from solespan.api.wiring import build_services
from tests.dashboards.builders import LONG_NAME, Rack, rack
from tests.dashboards.storing import store
from tests.databases import Databases

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
BASE = "http://127.0.0.1:8000"
SITUATIONS: dict[str, Rack] = {
    "6 pairs": rack(6),
    "200 pairs": rack(200),
    "no pair": rack(0),
    "long names": rack(2, label=LONG_NAME),
}


def _build(address: str):
    settings = Settings(database_url=address)
    return create_app(settings, clock=Clock(lambda: NOW), background=False)


@pytest.fixture(scope="session")
def stored(databases: Databases) -> Callable[[str], str]:
    """Give the address of a situation's database, without a fit, written once."""
    made: dict[str, str] = {}

    def address_of(name: str) -> str:
        if name not in made:
            made[name] = databases.copy()
            services = _build(made[name]).state.services
            store(services.database, SITUATIONS[name])
            services.database.close()
        return made[name]

    return address_of


@pytest.fixture(scope="session")
def reading(
    databases: Databases, stored: Callable[[str], str]
) -> Iterator[Callable[[str], TestClient]]:
    """Give a client of a situation, shared by tests that change nothing."""
    clients: dict[str, TestClient] = {}
    with ExitStack() as open_clients:

        def client_of(name: str) -> TestClient:
            if name not in clients:
                client = TestClient(_build(databases.copy(stored(name))), base_url=BASE)
                clients[name] = open_clients.enter_context(client)
            return clients[name]

        yield client_of


@pytest.fixture(scope="session")
def _writing(databases: Databases) -> Iterator[TestClient]:
    with TestClient(_build(databases.copy()), base_url=BASE) as client:
        yield client


@pytest.fixture
def client(
    request: pytest.FixtureRequest,
    _writing: TestClient,
    stored: Callable[[str], str],
    own_database: Callable[..., str],
) -> Iterator[TestClient]:
    """Serve a database that this test may change: it begins as it was stored, with six pairs.

    An indirect parameter names another situation.
    """
    situation = getattr(request, "param", "6 pairs")
    settings = Settings(database_url=own_database(stored(situation)))
    services = build_services(settings, Clock(lambda: NOW))
    _writing.app.state.services = services
    _writing.cookies.clear()
    yield _writing
    services.database.close()


@pytest.fixture
def statements_of() -> Callable[[TestClient], AbstractContextManager[list[str]]]:
    """Give a context that collects every SQL statement a service sends.

    What opens a transaction is not counted: the beginning, and on PostgreSQL the tenant's name.
    """
    return _statements_of


@contextmanager
def _statements_of(client: TestClient) -> Iterator[list[str]]:
    seen: list[str] = []

    def note(_connection, _cursor, statement, *_rest):
        if statement != "BEGIN" and "set_config" not in statement:
            seen.append(statement)

    engine = client.app.state.services.database.engine
    event.listen(engine, "before_cursor_execute", note)
    yield seen
    event.remove(engine, "before_cursor_execute", note)
