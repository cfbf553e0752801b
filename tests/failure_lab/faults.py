"""Faults: how does a test kill a program, fill its disk or cut its connection at a set point?

Each fault is real to the database: another process holds it, it refuses writes, its disk is full,
or it ends the connection. A kill unwinds the whole program at one statement, at the commit, or when
the answer is about to be sent; what it held in memory is thrown away.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from typing import Any

from sqlalchemy import Engine, create_engine, event

from solespan.api.storage.session import open_database
from solespan.api.wiring import Services

__all__ = ["FAULTS", "Killed", "answer_lost", "fault_on"]

WRITTEN = ("wearers", "wear_days", "idempotency_keys", "notices", "outbox")


class Killed(BaseException):
    """The process is gone; nothing of ours may catch it."""


@contextmanager
def fault_on(services: Services, name: str, at: int) -> Iterator[None]:
    """Let one fault happen to what these services do in this block; `at` counts statements."""
    with FAULTS[name](services.database.engine, at):
        yield


@contextmanager
def _none(_engine: Engine, _at: int) -> Iterator[None]:
    yield


def _address(engine: Engine) -> str:
    return engine.url.render_as_string(hide_password=False)


@contextmanager
def _locked(engine: Engine, _at: int) -> Iterator[None]:
    other = open_database(_address(engine))
    with closing(other), other.writing() as session:
        if engine.dialect.name == "postgresql":
            for table in WRITTEN:
                session.connection().exec_driver_sql(f"LOCK TABLE {table} IN EXCLUSIVE MODE")
        yield


@contextmanager
def _listening(engine: Engine, name: str, do: Any) -> Iterator[None]:
    event.listen(engine, name, do)
    try:
        yield
    finally:
        event.remove(engine, name, do)


@contextmanager
def _said_at_each_connection(engine: Engine, words: str) -> Iterator[None]:
    def say(connection: Any, _record: Any) -> None:
        connection.execute(words)
        connection.commit()

    engine.dispose()
    with _listening(engine, "connect", say):
        yield
    engine.dispose()


@contextmanager
def _read_only(engine: Engine, _at: int) -> Iterator[None]:
    sqlite = engine.dialect.name == "sqlite"
    words = "PRAGMA query_only = ON" if sqlite else "SET default_transaction_read_only = on"
    with _said_at_each_connection(engine, words):
        yield


@contextmanager
def _full(engine: Engine, at: int) -> Iterator[None]:
    if engine.dialect.name != "sqlite":  # the disk of a server cannot be filled from here
        with _read_only(engine, at):
            yield
        return
    with _said_at_each_connection(engine, "PRAGMA max_page_count = 1"):
        yield


@contextmanager
def _at_statement(engine: Engine, at: int, do: Any) -> Iterator[None]:
    left = [at]

    def count(connection: Any, *_: Any) -> None:
        left[0] -= 1
        if left[0] == 0:
            do(connection)

    with _listening(engine, "before_cursor_execute", count):
        yield


def _die(_connection: Any) -> None:
    raise Killed


@contextmanager
def _killed_at_work(engine: Engine, at: int) -> Iterator[None]:
    with _at_statement(engine, at, _die):
        yield


@contextmanager
def _killed_at_commit(engine: Engine, _at: int) -> Iterator[None]:
    with _listening(engine, "commit", _die):
        yield


@contextmanager
def _cut_off(engine: Engine, at: int) -> Iterator[None]:
    if engine.dialect.name != "postgresql":  # a file has no connection to lose
        with _killed_at_work(engine, at):
            yield
        return
    other = create_engine(engine.url)

    def cut(connection: Any) -> None:
        pid = connection.connection.driver_connection.info.backend_pid
        with other.connect() as one:
            one.exec_driver_sql(f"SELECT pg_terminate_backend({pid}, 5000)")

    try:
        with _at_statement(engine, at, cut):
            yield
    finally:
        other.dispose()


FAULTS = {
    "none": _none,
    "locked": _locked,
    "read-only": _read_only,
    "full": _full,
    "killed at work": _killed_at_work,
    "killed at commit": _killed_at_commit,
    "cut off": _cut_off,
    "answer lost": _none,  # see `answer_lost`
}


def answer_lost(app: Any) -> Any:
    """Return the service as it dies between its commit and its answer."""

    async def dying(scope: Any, receive: Any, send: Any) -> None:
        async def die(_message: Any) -> None:
            raise Killed

        await app(scope, receive, die)

    return dying
