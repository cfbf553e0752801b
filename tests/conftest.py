"""Which databases do the tests run on, and how does each test get a clean one?

`database` is an empty database made by migrations: once on SQLite and once on PostgreSQL.
`sqlite_database` is the same on SQLite only, for what does not depend on the kind.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

import pytest
from sqlalchemy import create_engine, make_url, text

from api.storage.schema import migrate
from api.storage.session import Database, open_database

if TYPE_CHECKING:
    from playwright.sync_api import Browser


def _load(name: str):
    """Load a helper module that lies beside this file (tests are not a package)."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules.setdefault(name, module)
    spec.loader.exec_module(module)
    return module


_server = _load("postgres_server")


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
def postgres_maker(postgres_address: str) -> Iterator[Callable[[], str]]:
    """Give a function that makes a fresh, migrated database and returns its address.

    The address is of an ordinary role: row-level security does not bind a superuser.
    """
    url = make_url(postgres_address).set(drivername="postgresql+psycopg")
    admin = create_engine(url, isolation_level="AUTOCOMMIT")
    stem = f"solespan_{uuid4().hex[:8]}"
    made = [f"{stem}_template"]

    def address_of(name: str) -> str:
        mine = url.set(database=name, username=stem, password=stem)
        return mine.render_as_string(hide_password=False)

    def make() -> str:
        name = f"{stem}_{len(made)}"
        made.append(name)
        with admin.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {made[0]} OWNER {stem}"))
        return address_of(name)

    with admin.connect() as connection:
        connection.execute(text(f"CREATE ROLE {stem} LOGIN PASSWORD '{stem}'"))
        connection.execute(
            text(f"CREATE DATABASE {made[0]} TEMPLATE template0 ENCODING 'UTF8' OWNER {stem}")
        )
    template = open_database(address_of(made[0]))
    migrate(template)
    template.close()
    yield make
    with admin.connect() as connection:
        for name in reversed(made):
            connection.execute(text(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)"))
        connection.execute(text(f"DROP ROLE {stem}"))
    admin.dispose()


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a migrated SQLite file once; tests copy it."""
    path = tmp_path_factory.mktemp("template") / "template.sqlite3"
    database = open_database(f"sqlite:///{path}")
    migrate(database)
    database.close()  # the last connection folds the write-ahead log into the file
    return path


@pytest.fixture
def sqlite_address(sqlite_template: Path, tmp_path: Path) -> str:
    """Address of a fresh, migrated SQLite file."""
    path = tmp_path / "solespan.sqlite3"
    shutil.copyfile(sqlite_template, path)
    return f"sqlite:///{path}"


@pytest.fixture
def sqlite_database(sqlite_address: str) -> Iterator[Database]:
    """Give an empty, migrated SQLite database."""
    database = open_database(sqlite_address)
    yield database
    database.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def database_address(request: pytest.FixtureRequest) -> str:
    """Address of an empty, migrated database, once of each kind."""
    if request.param == "sqlite":
        return request.getfixturevalue("sqlite_address")
    return request.getfixturevalue("postgres_maker")()


@pytest.fixture
def database(database_address: str) -> Iterator[Database]:
    """Give an empty, migrated database, once of each kind."""
    opened = open_database(database_address)
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Start the system's Chromium once a process; skips, saying so, where there is none."""
    from playwright.sync_api import sync_playwright

    from tests.browser.plotly_css import CHROMIUM, FLAGS

    if not Path(CHROMIUM).exists():
        pytest.skip(f"no browser at {CHROMIUM}: install the package chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()
