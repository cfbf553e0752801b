"""Which databases do the tests run on, and how does each test get a clean one?

`databases` makes them of the kind this run is for: SQLite, or PostgreSQL with
`pytest --database postgresql`, which runs every test that asked for it and no other.
`database` is an empty one of them.
`sqlite_database` is for what concerns a file.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

from solespan.api.storage.session import Database, open_database
from tests.databases import KINDS, Databases, SqliteFiles, file_of, on_server

if TYPE_CHECKING:
    from playwright.sync_api import Browser


def _load(name: str):
    """Load a helper module that lies beside this file (tests are not a package)."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules.setdefault(name, module)
    spec.loader.exec_module(module)
    return module


# The same examples on every machine, however slow it is.
settings.register_profile(
    "steady",
    derandomize=True,
    database=None,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("steady")
RUN_ONCE_MORE = ("browser", "load")
PATIENCE_MS = 120_000  # ends a test that hangs; a slow machine is no reason to fail
_server = _load("postgres_server")
_FIXTURES = {"sqlite": "sqlite_files", "postgresql": "postgres_databases"}


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let a run be on the other kind of database."""
    parser.addoption("--database", choices=KINDS, default=KINDS[0], help="what databases to use")
    parser.addoption("--lab-runs", type=int, default=25, help="runs of the failure lab")
    parser.addoption("--lab-seed", type=int, help="draws other runs of it than CI does")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Run browser and load tests once more if they fail; keep what a kind of database is for.

    Such tests depend on the speed of other processes. What needed its second run is listed at the
    end as a rerun, and is to be mended. Words and forms of answers are asked of one kind alone.
    """
    for item in items:
        if any(item.get_closest_marker(name) for name in RUN_ONCE_MORE):
            item.add_marker(pytest.mark.flaky(reruns=1))
    if config.getoption("database") == KINDS[0]:
        return
    kept, left = [], []
    for item in items:
        asked = "databases" in getattr(item, "fixturenames", ())
        either = item.get_closest_marker("any_database") is not None
        (kept if asked and not either else left).append(item)
    config.hook.pytest_deselected(items=left)
    items[:] = kept


@pytest.fixture(autouse=True)
def _clean_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """No test sees the settings of the person who runs it."""
    for name in os.environ:
        if name.startswith("SOLESPAN_") and not name.startswith("SOLESPAN_TEST_"):
            monkeypatch.delenv(name)


@pytest.fixture(scope="session")
def postgres_address() -> Iterator[str]:
    """Address of a PostgreSQL whose user may create databases; skips, saying why, without one."""
    given = os.environ.get("SOLESPAN_TEST_POSTGRES_URL")
    if given:
        yield given
        return
    try:
        with _server.running_server() as address:
            yield address
    except _server.NoServer as reason:
        pytest.skip(f"no PostgreSQL: {reason}")


@pytest.fixture(scope="session")
def postgres_databases(postgres_address: str) -> Iterator[Databases]:
    """Make databases on PostgreSQL."""
    with on_server(postgres_address) as databases:
        yield databases


@pytest.fixture(scope="session")
def sqlite_files(tmp_path_factory: pytest.TempPathFactory) -> Databases:
    """Make databases on SQLite."""
    return SqliteFiles(tmp_path_factory.mktemp("databases"))


@pytest.fixture(scope="session")
def databases(request: pytest.FixtureRequest) -> Databases:
    """Make databases of the kind that this run is for."""
    return request.getfixturevalue(_FIXTURES[request.config.getoption("database")])


@pytest.fixture
def own_database(databases: Databases) -> Iterator[Callable[..., str]]:
    """Give a function that copies a database (an empty one unless told) for this test alone."""
    with _own(databases) as make:
        yield make


@pytest.fixture
def new_address(own_database: Callable[..., str]) -> str:
    """Address of an empty, migrated database of the kind that this run is for."""
    return own_database()


@pytest.fixture
def own_postgres(postgres_databases: Databases) -> Iterator[Callable[..., str]]:
    """Give a function that makes databases on PostgreSQL for this test alone."""
    with _own(postgres_databases) as make:
        yield make


@contextmanager
def _own(databases: Databases) -> Iterator[Callable[..., str]]:
    made: list[str] = []

    def make(address: str | None = None) -> str:
        made.append(databases.copy(address))
        return made[-1]

    yield make
    for address in made:
        databases.drop(address)


@pytest.fixture
def sqlite_address(sqlite_files: Databases, tmp_path: Path) -> str:
    """Address of a fresh, migrated SQLite file."""
    path = tmp_path / "solespan.sqlite3"
    shutil.copyfile(file_of(sqlite_files.empty), path)
    return f"sqlite:///{path}"


@pytest.fixture
def sqlite_database(sqlite_address: str) -> Iterator[Database]:
    """Give an empty, migrated SQLite database."""
    database = open_database(sqlite_address)
    yield database
    database.close()


@pytest.fixture
def database(new_address: str) -> Iterator[Database]:
    """Give an empty, migrated database of the kind that this run is for."""
    opened = open_database(new_address)
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Start the system's Chromium once a process; skips, saying so, where there is none."""
    from playwright.sync_api import expect, sync_playwright

    from tests.browser.plotly_css import CHROMIUM, FLAGS

    if not Path(CHROMIUM).exists():
        pytest.skip(f"no browser at {CHROMIUM}: install the package chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        browser.on("context", lambda context: context.set_default_timeout(PATIENCE_MS))
        expect.set_options(timeout=PATIENCE_MS)
        yield browser
        browser.close()
