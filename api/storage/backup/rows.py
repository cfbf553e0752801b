"""Rows of a backup.

How does a row become one line of text, the same line from either kind of database, and a row again?

Tables and columns are read off the database itself. So a backup of an older schema can be made and
restored. JSON stays the text that it is.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy import Connection

from solespan.api.storage.engine import tell_tenant
from solespan.api.storage.session import Database, clear_errors
from solespan.api.storage.tables.types import UtcDateTime

__all__ = [
    "VERSION_TABLE",
    "Columns",
    "Line",
    "Tally",
    "highest_numbers",
    "insert_rows",
    "lines_of",
    "set_numbers",
    "snapshot",
    "tables_of",
]

VERSION_TABLE = "alembic_version"
ROWS_AT_ONCE = 500
HEAVY_ROWS_AT_ONCE = 5  # photographs
# Columns of a table, by name, with the kind of each.
Columns = Mapping[str, str]
_KINDS: tuple[tuple[type[Any], str], ...] = (
    (sa.JSON, "json"),
    (sa.LargeBinary, "bytes"),
    (sa.DateTime, "moment"),
    (sa.Date, "day"),
    (sa.Boolean, "flag"),
)
_TYPES: dict[str, Any] = {
    "bytes": sa.LargeBinary(),
    "moment": UtcDateTime(),
    "day": sa.Date(),
    "flag": sa.Boolean(),
}
_TO_JSON: dict[str, Callable[[Any], Any]] = {
    "bytes": lambda value: base64.b64encode(value).decode(),
    "moment": datetime.isoformat,
    "day": date.isoformat,
}
_FROM_JSON: dict[str, Callable[[Any], Any]] = {
    "bytes": base64.b64decode,
    "moment": datetime.fromisoformat,
    "day": date.fromisoformat,
}


class Line(NamedTuple):
    """One row: its table, and its values as a JSON array."""

    table: str
    text: bytes


class Tally:
    """Counts and SHA-256 digests of the lines of each table, in their order."""

    def __init__(self, tables: Mapping[str, Columns]) -> None:
        self.rows = dict.fromkeys(tables, 0)
        self._digests = {name: hashlib.sha256() for name in tables}

    def add(self, line: Line) -> None:
        """Count one line."""
        self.rows[line.table] += 1
        self._digests[line.table].update(line.text)

    @property
    def digests(self) -> dict[str, str]:
        """Digest of each table so far."""
        return {name: digest.hexdigest() for name, digest in self._digests.items()}


@contextmanager
def snapshot(database: Database) -> Iterator[Connection]:
    """Give a connection that sees the whole database as it was at one moment, and writes nothing.

    Others may write meanwhile.
    """
    with clear_errors(), database.engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            connection.execution_options(
                isolation_level="REPEATABLE READ", postgresql_readonly=True
            )
        yield connection


def tables_of(connection: Connection) -> dict[str, Columns]:
    """Return every table with its columns, in the order of their dependence."""
    found = sa.MetaData()
    found.reflect(connection)
    return {
        table.name: {column.name: _kind(column.type) for column in table.c}
        for table in found.sorted_tables
        if table.name != VERSION_TABLE
    }


def _kind(column_type: sa.types.TypeEngine[Any]) -> str:
    return next((kind for base, kind in _KINDS if isinstance(column_type, base)), "plain")


def _clause(name: str, columns: Columns) -> sa.TableClause:
    return sa.table(name, *(sa.column(c, _TYPES.get(kind)) for c, kind in columns.items()))


def lines_of(connection: Connection, tables: Mapping[str, Columns]) -> Generator[Line, None, None]:
    """Yield every row of every tenant: table by table, by tenant and number.

    PostgreSQL's row-level security shows one tenant at a time, so each is told.
    """
    tenants = list(connection.scalars(sa.text("SELECT id FROM tenants ORDER BY id")))
    for name, columns in tables.items():
        table = _clause(name, columns)
        chosen = [sa.cast(c, sa.Text) if columns[c.name] == "json" else c for c in table.c]
        query = sa.select(*chosen).select_from(table)
        encode = _encoder(columns)
        heavy = "bytes" in columns.values()
        options = {"yield_per": HEAVY_ROWS_AT_ONCE if heavy else ROWS_AT_ONCE}
        for one in _parts(connection, query, table, tenants):
            with connection.execute(one, execution_options=options) as rows:
                for row in rows:
                    yield Line(name, encode(row))


def _parts(
    connection: Connection, query: sa.Select[Any], table: sa.TableClause, tenants: Sequence[int]
) -> Iterator[sa.Select[Any]]:
    if "tenant_pk" not in table.c or (len(tenants) == 1 and connection.dialect.name == "sqlite"):
        yield query.order_by(table.c.id)
        return
    if connection.dialect.name == "sqlite":  # one pass, however many tenants there are
        yield query.order_by(table.c.tenant_pk, table.c.id)
        return
    for tenant in tenants:
        tell_tenant(connection, tenant)
        yield query.where(table.c.tenant_pk == tenant).order_by(table.c.id)


def _encoder(columns: Columns) -> Callable[[Sequence[Any]], bytes]:
    changed = [(i, _TO_JSON[kind]) for i, kind in enumerate(columns.values()) if kind in _TO_JSON]

    def encode(row: Sequence[Any]) -> bytes:
        values = list(row)
        for i, change in changed:
            if values[i] is not None:
                values[i] = change(values[i])
        return json.dumps(values, separators=(",", ":")).encode() + b"\n"

    return encode


def insert_rows(
    connection: Connection, tables: Mapping[str, Columns], lines: Iterator[Line]
) -> None:
    """Write rows as they are, each within its tenant's scope."""
    waiting: list[dict[str, Any]] = []
    place: tuple[str, Any] = ("", None)
    most = ROWS_AT_ONCE
    for line in lines:
        columns = tables[line.table]
        row = _decoded(columns, line.text)
        mine = line.table, row.get("tenant_pk")
        if waiting and (mine != place or len(waiting) >= most):
            _insert(connection, tables, place, waiting)
            waiting = []
        place = mine
        most = HEAVY_ROWS_AT_ONCE if "bytes" in columns.values() else ROWS_AT_ONCE
        waiting.append(row)
    if waiting:
        _insert(connection, tables, place, waiting)


def _decoded(columns: Columns, text: bytes) -> dict[str, Any]:
    row = dict(zip(columns, json.loads(text), strict=True))
    for name, kind in columns.items():
        change = _FROM_JSON.get(kind)
        if change is not None and row[name] is not None:
            row[name] = change(row[name])
    return row


def _insert(
    connection: Connection,
    tables: Mapping[str, Columns],
    place: tuple[str, Any],
    rows: list[dict[str, Any]],
) -> None:
    name, tenant = place
    if tenant is not None:
        tell_tenant(connection, tenant)
    values: dict[str, Any] = {}
    for column, kind in tables[name].items():
        values[column] = sa.bindparam(column, type_=_TYPES.get(kind))
        if kind == "json":
            values[column] = sa.bindparam(column, type_=sa.Text())
            if connection.dialect.name == "postgresql":
                values[column] = sa.cast(values[column], sa.JSON)
    connection.execute(sa.insert(_clause(name, tables[name])).values(values), rows)


def highest_numbers(connection: Connection, tables: Mapping[str, Columns]) -> dict[str, int]:
    """Return the highest number that each table ever gave to a row, deleted ones included."""
    if connection.dialect.name == "sqlite":
        rows = connection.exec_driver_sql("SELECT name, seq FROM sqlite_sequence")
        kept = {name: seq for name, seq in rows}  # noqa: C416 - rows, not pairs
        return {name: kept.get(name, 0) for name in tables}
    highest = {}
    for name in tables:
        sequence = connection.scalar(sa.select(sa.func.pg_get_serial_sequence(name, "id")))
        query = f"SELECT CASE WHEN is_called THEN last_value ELSE 0 END FROM {sequence}"  # noqa: S608
        highest[name] = int(connection.exec_driver_sql(query).scalar_one())
    return highest


def set_numbers(connection: Connection, numbers: Mapping[str, int]) -> None:
    """Let new rows be numbered behind these: no number is ever given twice."""
    for name, number in numbers.items():
        if connection.dialect.name == "sqlite":
            params = {"name": name, "number": number}
            connection.execute(sa.text("DELETE FROM sqlite_sequence WHERE name = :name"), params)
            if number:
                connection.execute(
                    sa.text("INSERT INTO sqlite_sequence (name, seq) VALUES (:name, :number)"),
                    params,
                )
        elif number:
            sequence = sa.func.pg_get_serial_sequence(name, "id")
            connection.execute(sa.select(sa.func.setval(sequence, number)))
