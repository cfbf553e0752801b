"""Transactions: where does a transaction begin and end?

One request or command is one transaction, and one tenant's. `Database.reading` never commits;
`Database.writing` holds the only commit of the program. On SQLite the writers of one process queue
at one lock, which keeps the slowest write short; the database's own lock keeps other processes out.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from copy import copy
from dataclasses import replace

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import (
    DatabaseError,
    DBAPIError,
    IntegrityError,
    InterfaceError,
    InternalError,
    OperationalError,
    ProgrammingError,
)
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session, sessionmaker

from solespan.api.author import Author
from solespan.api.errors import Busy, Conflict, DatabaseUnavailable
from solespan.api.storage.audit import AUTHOR, note_change
from solespan.api.storage.change_capture import write_history
from solespan.api.storage.engine import (
    AT_ONCE,
    DATABASE_SETTING,
    WRITES,
    make_engine,
    tell_tenant,
)
from solespan.api.storage.scope import FIRST_TENANT, within

__all__ = ["Database", "clear_errors", "open_database"]

LOG = logging.getLogger("solespan.storage")
# What the drivers say when others hold the rows: trying again is safe.
_HELD = ("database is locked", "lock timeout", "deadlock detected", "could not serialize")
_DOUBLED = ("UNIQUE constraint failed", "duplicate key value")


class Database:
    """One opened database as one tenant sees it: its engine, and the doors to read and to write."""

    def __init__(
        self,
        engine: Engine,
        *,
        wait_s: float = 10.0,
        tenant_pk: int = FIRST_TENANT,
        author: Author | None = None,
    ) -> None:
        self.engine = engine
        self.wait_s = wait_s
        self.tenant_pk = tenant_pk
        self.author = author
        self._sessions = sessionmaker(engine, expire_on_commit=False)
        self._write_lock = threading.Lock() if engine.dialect.name == "sqlite" else None

    def for_tenant(self, tenant_pk: int, author: Author | None = None) -> Database:
        """Give the same database as another tenant sees it; `author` signs what is changed."""
        seen = copy(self)  # engine, pool and write lock stay shared
        seen.tenant_pk, seen.author = tenant_pk, author
        return seen

    def about(self, **subject: str) -> Database:
        """Give the same door, whose entries in the audit log say of whom or what they are."""
        if self.author is None:
            return self
        return self.for_tenant(self.tenant_pk, replace(self.author, subject=subject))

    @contextmanager
    def reading(self, *, one_state: bool = False) -> Iterator[Session]:
        """Give a session; whatever it changed is rolled back.

        With `one_state` all its statements see one state of the database, as on SQLite always.
        """
        with within(self.tenant_pk), clear_errors(), self._sessions() as session:
            if one_state and self.engine.dialect.name == "postgresql":
                session.connection(execution_options={"isolation_level": "REPEATABLE READ"})
            tell_tenant(session, self.tenant_pk)
            yield session

    @contextmanager
    def looking(self) -> Iterator[Connection]:
        """Give a bare connection in place of a session, for the statements that are asked most."""
        with within(self.tenant_pk), clear_errors(), self.engine.connect() as connection:
            tell_tenant(connection, self.tenant_pk)
            yield connection

    @contextmanager
    def writing(self, *, at_once: bool = False) -> Iterator[Session]:
        """Give a session that commits when the block ends well and rolls back when it does not.

        With `at_once` it waits for no other writer. Raises `Busy` when others did not finish in
        time.
        """
        wait_s = 0.0 if at_once else self.wait_s
        if self._write_lock and not self._write_lock.acquire(timeout=wait_s):
            raise _busy()
        try:
            with within(self.tenant_pk), clear_errors(), self._sessions() as session:
                session.connection(execution_options={WRITES: True, AT_ONCE: at_once})
                tell_tenant(session, self.tenant_pk)
                session.info[AUTHOR] = self.author
                yield session
                write_history(session, self.author)
                if self.author is not None:
                    note_change(session, self.author)
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
    except (OperationalError, InternalError, InterfaceError) as cause:
        reason = _reason(cause)
        if any(words in reason for words in _HELD):
            raise _busy() from cause
        LOG.warning("the database could not be used: %s", reason)
        raise DatabaseUnavailable(
            f"The database could not be used: {reason}.",
            where=DATABASE_SETTING,
            remedy="Check that the address is right, the folder exists, the disk is not full and "
            "the server runs.",
        ) from cause
    except PoolTimeout as cause:
        raise Busy(
            "Every connection to the database is in use.",
            remedy="Try again in a moment; if it stays so, run another server process.",
        ) from cause
    except IntegrityError as cause:
        if not any(words in _reason(cause) for words in _DOUBLED):
            raise
        raise Conflict(
            "Another request wrote the same record at the same moment.",
            remedy="Read it and decide again; nothing was changed.",
        ) from cause
    except ProgrammingError as cause:
        reason = _reason(cause)
        if not reason.startswith("permission denied"):
            raise
        LOG.warning("the database refuses its role: %s", reason)
        raise DatabaseUnavailable(
            f"The database's role may not do this: {reason}.",
            where=DATABASE_SETTING,
            accepted="the role that owns the tables, or one that solespan migrate let in",
            remedy="Set SOLESPAN_MIGRATION_DATABASE_URL, the owner's address: solespan migrate",
        ) from cause
    except DatabaseError as cause:
        if type(cause) is not DatabaseError:  # what the statement did, not what the file is
            raise
        LOG.error("the database cannot be read: %s", _reason(cause))  # noqa: TRY400 - told once
        raise DatabaseUnavailable(
            f"The database cannot be read: {_reason(cause)}.",
            where=DATABASE_SETTING,
            accepted="a file that solespan made, or one that is not there yet",
            remedy="Give the right address; if it was this file, put back your last backup of it.",
        ) from cause


def _reason(cause: DBAPIError) -> str:
    """Return the first line of what the driver says; those after it may quote rows."""
    return str(cause.orig).splitlines()[0] if str(cause.orig or "") else "no reason given"
