"""Where does a transaction begin and end?

One request or command is one transaction. `Database.reading` never commits; `Database.writing`
holds the only commit of the program. On SQLite the writers of one process queue at one lock, which
keeps the slowest write short; the database's own lock keeps other processes out.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Engine
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session, sessionmaker

from api.errors import Busy, DatabaseUnavailable
from api.storage.engine import WRITES, make_engine

__all__ = ["Database", "clear_errors", "open_database"]


class Database:
    """One opened database: its engine, and the doors to read and to write."""

    def __init__(self, engine: Engine, *, wait_s: float = 10.0) -> None:
        self.engine = engine
        self.wait_s = wait_s
        self._sessions = sessionmaker(engine, expire_on_commit=False)
        self._write_lock = threading.Lock() if engine.dialect.name == "sqlite" else None

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Give a session on one state of the database; whatever it changed is rolled back."""
        with clear_errors(), self._sessions() as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Give a session that commits when the block ends well and rolls back when it does not.

        Raises `Busy` when other writers did not finish in time.
        """
        if self._write_lock and not self._write_lock.acquire(timeout=self.wait_s):
            raise _busy()
        try:
            with clear_errors(), self._sessions() as session:
                session.connection(execution_options={WRITES: True})
                yield session
                session.commit()
        finally:
            if self._write_lock:
                self._write_lock.release()

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def open_database(address: str, *, wait_s: float = 10.0) -> Database:
    """Open the database at `address`; see `api.storage.engine.make_engine`."""
    return Database(make_engine(address, wait_s=wait_s), wait_s=wait_s)


def _busy() -> Busy:
    return Busy(
        "Another writer holds the database.",
        remedy="Try again in a moment; stop other programs that write to the same file.",
    )


@contextmanager
def clear_errors() -> Iterator[None]:
    """Turn a failure of the database itself into an error that says what to do."""
    try:
        yield
    except OperationalError as cause:
        reason = str(cause.orig).splitlines()[0] if cause.orig else "no reason given"
        if "database is locked" in reason:
            raise _busy() from cause
        raise DatabaseUnavailable(
            f"The database could not be used: {reason}.",
            where="environment variable SOLESPAN_DATABASE_URL",
            remedy="Check that the address is right, the folder exists, the disk is not full and "
            "the server runs.",
        ) from cause
