"""How does a test get a database of its own, of either kind, and a copy of one made before?"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol
from uuid import uuid4

from sqlalchemy import Engine, create_engine, make_url, text

from solespan.api.storage.schema import migrate
from solespan.api.storage.session import open_database

KINDS = ("sqlite", "postgresql")


class Databases(Protocol):
    """Makes databases of one kind. `empty` is the address of a migrated one nobody may change."""

    empty: str

    def copy(self, address: str | None = None) -> str:
        """Copy a database that nobody has open (the empty one unless told); return its address."""

    def drop(self, address: str) -> None:
        """Delete a database, open or not."""


def _migrated(address: str) -> str:
    database = open_database(address)
    migrate(database)
    database.close()  # on SQLite the last connection folds the write-ahead log into the file
    return address


class SqliteFiles:
    """Databases as files of a folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.empty = _migrated(f"sqlite:///{folder}/empty.sqlite3")

    def copy(self, address: str | None = None) -> str:
        copied = self._folder / f"{uuid4().hex}.sqlite3"
        shutil.copyfile(file_of(address or self.empty), copied)
        return f"sqlite:///{copied}"

    def drop(self, address: str) -> None:
        for rest in ("", "-wal", "-shm"):
            Path(f"{file_of(address)}{rest}").unlink(missing_ok=True)


class PostgresDatabases:
    """Databases of an ordinary role on a server: row-level security does not bind a superuser."""

    def __init__(self, admin: Engine) -> None:
        self._admin = admin
        self._role = f"solespan_{uuid4().hex[:8]}"
        self._made = 0
        with admin.connect() as connection:
            version = connection.dialect.server_version_info or (0,)
        # files copied whole cost a third of pages written one by one
        self._copied = " STRATEGY file_copy" if version >= (18,) else ""
        self._run(f"CREATE ROLE {self._role} LOGIN PASSWORD '{self._role}'")
        name = self._next()
        self._run(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8' OWNER {self._role}")
        self.empty = _migrated(self._address(name))

    def copy(self, address: str | None = None) -> str:
        source, name = make_url(address or self.empty).database, self._next()
        self._run(f"CREATE DATABASE {name} TEMPLATE {source} OWNER {self._role}{self._copied}")
        return self._address(name)

    def drop(self, address: str) -> None:
        self._run(f"DROP DATABASE IF EXISTS {make_url(address).database} WITH (FORCE)")

    def close(self) -> None:
        """Delete every database that is left, and the role."""
        for number in range(self._made):
            self._run(f"DROP DATABASE IF EXISTS {self._role}_{number} WITH (FORCE)")
        self._run(f"DROP ROLE {self._role}")

    def _next(self) -> str:
        self._made += 1
        return f"{self._role}_{self._made - 1}"

    def _address(self, name: str) -> str:
        mine = self._admin.url.set(database=name, username=self._role, password=self._role)
        return mine.render_as_string(hide_password=False)

    def _run(self, statement: str) -> None:
        with self._admin.connect() as connection:
            connection.execute(text(statement))


def file_of(address: str) -> str:
    """Return the path of a SQLite address."""
    return address.removeprefix("sqlite:///")


@contextmanager
def on_server(address: str) -> Iterator[PostgresDatabases]:
    """Make databases on a server, and delete them at the end."""
    url = make_url(address).set(drivername="postgresql+psycopg")
    admin = create_engine(url, isolation_level="AUTOCOMMIT")
    databases = PostgresDatabases(admin)
    yield databases
    databases.close()
    admin.dispose()
