"""Which rack and which browser do the page tests start from?"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from api.app import create_app
from api.clock import Clock
from api.settings import Settings
from tests.dashboards.builders import LONG_NAME, Rack, rack
from tests.dashboards.storing import store

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
BASE = "http://127.0.0.1:8000"
SITUATIONS: dict[str, Rack] = {
    "6 pairs": rack(6),
    "200 pairs": rack(200),
    "no pair": rack(0),
    "long names": rack(2, label=LONG_NAME),
}


def _build(path: Path):
    settings = Settings(database_url=f"sqlite:///{path}")
    return create_app(settings, clock=Clock(lambda: NOW), background=False)


@pytest.fixture(scope="session")
def stored(sqlite_template: Path, tmp_path_factory) -> Callable[[str], Path]:
    """Give the file of a situation's database, without a fit, written once."""
    folder, made = tmp_path_factory.mktemp("racks"), {}

    def file_of(name: str) -> Path:
        if name not in made:
            made[name] = Path(shutil.copyfile(sqlite_template, folder / f"{len(made)}.sqlite3"))
            services = _build(made[name]).state.services
            store(services.database, SITUATIONS[name])
            services.database.close()
        return made[name]

    return file_of


@pytest.fixture(scope="session")
def reading(stored: Callable[[str], Path]) -> Iterator[Callable[[str], TestClient]]:
    """Give a client of a situation, shared by tests that change nothing."""
    clients: dict[str, TestClient] = {}
    with ExitStack() as open_clients:

        def client_of(name: str) -> TestClient:
            if name not in clients:
                client = TestClient(_build(stored(name)), base_url=BASE)
                clients[name] = open_clients.enter_context(client)
            return clients[name]

        yield client_of


@pytest.fixture(scope="session")
def _writing(stored: Callable[[str], Path], tmp_path_factory) -> Iterator[tuple[TestClient, Path]]:
    path = tmp_path_factory.mktemp("changed") / "rack.sqlite3"
    shutil.copyfile(stored("6 pairs"), path)
    with TestClient(_build(path), base_url=BASE) as client:
        yield client, path


@pytest.fixture
def client(_writing: tuple[TestClient, Path], stored: Callable[[str], Path]) -> TestClient:
    """Serve six pairs from a database that this test may change: it begins as it was stored."""
    client, path = _writing
    client.app.state.services.database.engine.dispose()
    for rest in ("-wal", "-shm"):
        Path(f"{path}{rest}").unlink(missing_ok=True)
    shutil.copyfile(stored("6 pairs"), path)
    client.cookies.clear()
    return client


@pytest.fixture
def statements_of() -> Callable[[TestClient], AbstractContextManager[list[str]]]:
    """Give a context that collects every SQL statement a service sends."""
    return _statements_of


@contextmanager
def _statements_of(client: TestClient) -> Iterator[list[str]]:
    seen: list[str] = []

    def note(_connection, _cursor, statement, *_rest):
        if statement != "BEGIN":
            seen.append(statement)

    engine = client.app.state.services.database.engine
    event.listen(engine, "before_cursor_execute", note)
    yield seen
    event.remove(engine, "before_cursor_execute", note)
