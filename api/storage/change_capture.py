"""Change data capture: which rows does a transaction create, change and delete, and how were they?

Every statement on a table of `KEPT` passes here, by whichever function it was sent. What a foreign
key deletes along is kept as well, so that it can be restored. `write_history` writes all of it in
the transaction of the change.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from functools import cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Delete, Engine, Insert, Update, event
from sqlalchemy.orm import Session

import solespan.api.storage.tables.accounts
import solespan.api.storage.tables.planning
import solespan.api.storage.tables.reminders  # noqa: F401 - so that every process knows every table
from solespan.api.author import Author
from solespan.api.storage.scope import TenantTable, history_draft
from solespan.api.storage.tables.bench import BenchOrder
from solespan.api.storage.tables.history import RecordChange, Revision
from solespan.api.storage.tables.keys import row_keys
from solespan.api.storage.tables.notices import Notice
from solespan.api.storage.tables.rack import LOGGED, Root
from solespan.api.storage.tables.types import UtcDateTime

__all__ = [
    "CHANGED_PKS",
    "KEPT",
    "KEPT_TOO",
    "RECOMPUTED",
    "UNKEPT",
    "below",
    "capture_changes",
    "decoded",
    "encoded",
    "note_created",
    "owned",
    "record_key_of",
    "write_history",
]

# Tables whose own changes are kept. What hangs below their rows is kept when it is deleted along.
KEPT = frozenset(
    {
        *LOGGED,
        *("pair_traits", "resole_routes", "care_rules", "care_done"),
        *("bench_orders", "bench_events", "bench_papers", "bench_photos", "pair_photos"),
        *("stock_items", "stock_moves", "due_outcomes", "suppliers", "purchase_orders"),
        "shop_settings",
    }
)
# What is computed again, or ends with its owner, is not kept.
RECOMPUTED = frozenset(
    {"forecasts", "browser_sessions", "booking_messages", "hook_events", "reminder_messages"}
)
# Execution options. By the first, a statement is no change that anybody takes back. By the second
# it is one although its table is not in `KEPT`. The third has the rows that many sets change.
UNKEPT = "solespan_unkept"
KEPT_TOO = "solespan_kept_too"
CHANGED_PKS = "solespan_changed_pks"
PKS_PER_QUERY = 500
ROWS_PER_STATEMENT = 2000

_WEARERS: sa.Table = LOGGED["wearers"].__table__  # type: ignore[assignment]
_PAIRS: sa.Table = LOGGED["pairs"].__table__  # type: ignore[assignment]
_ORDERS: sa.Table = BenchOrder.__table__  # type: ignore[assignment]
_NOTICES: sa.Table = Notice.__table__  # type: ignore[assignment]
_REVISIONS: sa.Table = Revision.__table__  # type: ignore[assignment]
_CHANGES: sa.Table = RecordChange.__table__  # type: ignore[assignment]
# The columns that make the key by which people know a row; `pair_id` is the pair's.
KEY_COLUMNS = {
    "wearers": ("wearer_id",),
    "pairs": ("pair_id",),
    "soles": ("sole_id",),
    "wear_days": ("pair_id", "worn_on"),
    "checks": ("pair_id", "checked_on", "foot", "point", "method"),
    "bench_jobs": ("job_id",),
    "layers": ("layer_id",),
    "bench_orders": ("order_id",),
    "shop_settings": ("name",),
}
_OWNERS = {"pair_pk": _PAIRS, "order_pk": _ORDERS, "notice_pk": _NOTICES, "wearer_pk": _WEARERS}


def capture_changes(engine: Engine) -> None:
    """Let every change through this engine leave its line in the history."""
    event.listen(engine, "before_execute", _capture_before, retval=True)
    event.listen(engine, "after_execute", _capture_created)


def _capture_before(
    connection: Connection, statement: Any, many: Any, params: Any, options: Any
) -> tuple[Any, Any, Any]:
    if isinstance(statement, Insert | Update | Delete) and _is_kept(statement, options):
        if not isinstance(statement, Insert):
            _capture_rows(connection, statement, many, params, options)
        elif many:  # so that the database says which rows it made
            statement = statement.return_defaults(statement.table.c.id)
    return statement, many, params


def _capture_rows(
    connection: Connection, statement: Any, many: Any, params: Any, options: Any
) -> None:
    table = Root.metadata.tables[statement.table.name]  # the mapper's statements have a likeness
    if pks := options.get(CHANGED_PKS):
        for start in range(0, len(pks), PKS_PER_QUERY):
            _keep(connection, table, table.c.id.in_(pks[start : start + PKS_PER_QUERY]), {})
        return
    where = statement.whereclause
    for given in many or [params]:
        if isinstance(statement, Delete):
            _keep_below(connection, table, where, given)
        _keep(connection, table, where, given, deleted=isinstance(statement, Delete))


def _capture_created(
    _connection: Connection, statement: Any, many: Any, _params: Any, options: Any, result: Any
) -> None:
    if not isinstance(statement, Insert) or not _is_kept(statement, options):
        return
    rows = result.inserted_primary_key_rows if many else [result.inserted_primary_key]
    note_created(statement.table.name, (row[0] for row in rows))


def _is_kept(statement: Any, options: Mapping[str, Any]) -> bool:
    return (
        isinstance(statement.table, sa.Table)
        and (statement.table.name in KEPT or bool(options.get(KEPT_TOO)))
        and not options.get(UNKEPT)
        and history_draft() is not None
    )


def note_created(name: str, pks: Iterable[int]) -> None:
    """Keep that these rows of a table were created: for statements that say so themselves."""
    draft = history_draft()
    if draft is not None:
        draft.created.setdefault(name, []).extend(pks)


@cache
def owned(table: sa.Table) -> tuple[sa.FromClause, sa.ColumnElement[Any], sa.ColumnElement[Any]]:
    """Return a table joined with its owners, and the columns of its wearer's number and pair's id.

    Both are NULL where a row belongs to nobody.
    """
    source: sa.FromClause = table
    at = table
    pair_id: sa.ColumnElement[Any] = sa.null()
    while at is not _WEARERS and "wearer_pk" not in at.c:
        link = next((name for name in _OWNERS if name in at.c), None)
        if link is None:
            return source, sa.null(), pair_id
        parent = _OWNERS[link]
        source = source.outerjoin(parent, at.c[link] == parent.c.id)
        at = parent
        pair_id = _PAIRS.c.pair_id if parent is _PAIRS else pair_id
    return source, at.c.id if at is _WEARERS else at.c.wearer_pk, pair_id


@cache
def _before_query(table: sa.Table) -> sa.Select[Any]:
    source, wearer, pair_id = owned(table)
    columns = [table.c[c.name].label(f"own_{c.name}") for c in table.c]
    return (
        sa.select(*columns, wearer.label("wearer"), pair_id.label("pair"))
        .select_from(source)
        .order_by(table.c.id)
    )


def _keep(
    connection: Connection,
    table: sa.Table,
    where: sa.ColumnElement[bool] | None,
    params: Mapping[str, Any],
    *,
    deleted: bool = False,
) -> None:
    draft = history_draft()
    query = _before_query(table) if where is None else _before_query(table).where(where)
    for row in connection.execute(query, dict(params)).mappings():
        own = {c.name: row[f"own_{c.name}"] for c in table.c}
        assert draft is not None  # noqa: S101 - `_is_kept` has looked
        draft.lines.append(
            {
                "table_name": table.name,
                "kind": "deleted" if deleted else "changed",
                "row_pk": own["id"],
                "last_pk": own["id"],
                "wearer_pk": row["wearer"],
                "record_key": record_key_of(table.name, own, row["pair"]),
                "before": {
                    name: encoded(value)
                    for name, value in own.items()
                    if name != "tenant_pk" or not isinstance(table, TenantTable)
                },
            }
        )


def record_key_of(name: str, own: Mapping[str, Any], pair_id: str | None) -> str | None:
    """Return the key by which people know a row, as one text; None where they know none."""
    columns = KEY_COLUMNS.get(name)
    if columns is None:
        return None
    return "/".join(str(own.get(column, pair_id)) for column in columns)


def below(
    table: sa.Table, where: sa.ColumnElement[bool] | None
) -> Iterator[tuple[sa.Table, sa.ColumnElement[bool], str]]:
    """Yield what deleting rows does to other tables, parents first: table, which rows, and how.

    How is the foreign key's rule: CASCADE or SET NULL.
    """
    gone: dict[sa.Table, sa.ColumnElement[bool]] = {table: sa.true() if where is None else where}
    for other in Root.metadata.sorted_tables:
        ways: dict[str, list[sa.ColumnElement[bool]]] = {}
        for key in row_keys(other):
            parent = key.column.table
            if parent in gone and other is not table and key.ondelete:
                among = sa.select(key.column).where(gone[parent])
                ways.setdefault(key.ondelete, []).append(key.parent.in_(among))
        if "CASCADE" in ways:
            gone[other] = sa.or_(*ways["CASCADE"])
            yield other, gone[other], "CASCADE"
        elif "SET NULL" in ways:
            yield other, sa.or_(*ways["SET NULL"]), "SET NULL"


def _keep_below(
    connection: Connection,
    table: sa.Table,
    where: sa.ColumnElement[bool] | None,
    params: Mapping[str, Any],
) -> None:
    """Keep what goes along: children before parents, so that undoing runs the other way."""
    for other, which, rule in reversed(list(below(table, where))):
        if other.name not in RECOMPUTED:
            _keep(connection, other, which, params, deleted=rule == "CASCADE")


def encoded(value: Any) -> Any:
    """Turn a value of the database into one of JSON."""
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, bytes):
        return base64.b64encode(value).decode()
    return value


def decoded(table: sa.Table, before: Mapping[str, Any]) -> dict[str, Any]:
    """Turn a kept row into values for the database."""
    return {name: _decoded(table.c[name], value) for name, value in before.items()}


def _decoded(column: sa.Column[Any], value: Any) -> Any:
    if value is None:
        return None
    if isinstance(column.type, UtcDateTime):
        return datetime.fromisoformat(value)
    if isinstance(column.type, sa.Date):
        return date.fromisoformat(value)
    return base64.b64decode(value) if isinstance(column.type, sa.LargeBinary) else value


def write_history(session: Session, author: Author | None) -> None:
    """Write the revision of this transaction, if it created, changed or deleted records."""
    session.flush()
    draft = history_draft()
    if draft is None or not (draft.created or draft.lines):
        return
    revision = {
        "revision_id": draft.revision_id,
        "actor": author.actor if author else None,
        "action": author.action if author else None,
        "import_pk": draft.import_pk,
        "undoes": draft.undoes,
    }
    made = session.execute(sa.insert(_REVISIONS), revision)
    revision_pk = made.inserted_primary_key[0]  # type: ignore[attr-defined]
    lines = [{**line, "revision_pk": revision_pk} for line in _lines(draft.created, draft.lines)]
    for start in range(0, len(lines), ROWS_PER_STATEMENT):
        session.execute(sa.insert(_CHANGES), lines[start : start + ROWS_PER_STATEMENT])


def _lines(
    created: Mapping[str, list[int]], lines: Iterable[dict[str, Any]]
) -> Iterator[dict[str, Any]]:
    """Yield the lines of a revision: runs of created rows, then each row as it was at first."""
    for name, pks in created.items():
        for first, last in _runs(pks):
            yield {
                "table_name": name,
                "kind": "created",
                "row_pk": first,
                "last_pk": last,
                "wearer_pk": None,
                "record_key": None,
                "before": None,
            }
    seen = {(name, pk) for name, pks in created.items() for pk in pks}
    for line in lines:
        row = line["table_name"], line["row_pk"]
        if line["kind"] == "deleted" or row not in seen:
            yield line
        seen.add(row)


def _runs(pks: Iterable[int]) -> Iterator[tuple[int, int]]:
    first = last = None
    for pk in sorted(set(pks)):
        if last is not None and pk == last + 1:
            last = pk
            continue
        if first is not None and last is not None:
            yield first, last
        first = last = pk
    if first is not None and last is not None:
        yield first, last
