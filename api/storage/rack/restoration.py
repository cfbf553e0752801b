"""Restoration storage: how are the rows of a revision made what they were before it?

Changed rows get their values back and a new version. Deleted rows come back with their numbers,
parents first. Created rows go. All of it is kept as a revision of its own, and can be taken back as
well. Only an undone import is not, as its files can be imported again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.change_capture import CHANGED_PKS, UNKEPT, decoded, note_created
from solespan.api.storage.rack.revisions import created_rows
from solespan.api.storage.scope import history_draft
from solespan.api.storage.tables.history import RecordChange, Revision
from solespan.api.storage.tables.rack import Root

__all__ = ["RowGone", "take_back"]

_REVISIONS: sa.Table = Revision.__table__  # type: ignore[assignment]
_CHANGES: sa.Table = RecordChange.__table__  # type: ignore[assignment]
_OWN = ("id", "tenant_pk", "version", "data_version", "created_at", "updated_at")
ROWS_AT_ONCE = 1000
_HELD = {
    "state": "cancelled",
    "worker": None,
    "lease_until": None,
    "problem": "its customer was deleted while it was being sent",
}


class RowGone(Exception):
    """A row that is to be changed back is not there."""

    def __init__(self, table_name: str, record_key: str | None) -> None:
        super().__init__(f"{table_name} {record_key}")
        self.table_name, self.record_key = table_name, record_key


def take_back(session: Session, revision: Mapping[str, Any], now: datetime) -> None:
    """Make everything a revision changed what it was, and mark the revision as undone.

    The caller has looked that nothing later stands on it. Raises `RowGone`, and `IntegrityError`
    where another row has taken a key, or a parent is missing.
    """
    pk, silent = revision["id"], revision["import_pk"] is not None
    options = {UNKEPT: True} if silent else {}
    for kind, name, part in _parts(session, pk):
        table = Root.metadata.tables[name]
        if kind == "deleted":
            _insert(session, table, part, silent=silent)
        else:
            _change(session, table, part, options)
    made = sa.select(_CHANGES.c.table_name).where(
        _CHANGES.c.revision_pk == pk, _CHANGES.c.kind == "created"
    )
    names = set(session.execute(made.distinct()).scalars())
    for table in reversed(Root.metadata.sorted_tables):
        if table.name in names:
            gone = sa.delete(table).where(table.c.id.in_(created_rows(pk, table)))
            session.execute(gone, execution_options=options)
    _mark(session, revision, now)


def _parts(session: Session, revision_pk: int) -> Iterator[tuple[str, str, list[dict[str, Any]]]]:
    """Yield the lines of changed and deleted rows, last first, by kind and table."""
    columns = [
        _CHANGES.c[n] for n in ("id", "kind", "table_name", "row_pk", "record_key", "before")
    ]
    below_id: int | None = None
    while True:
        query = sa.select(*columns).where(
            _CHANGES.c.revision_pk == revision_pk, _CHANGES.c.kind != "created"
        )
        if below_id is not None:
            query = query.where(_CHANGES.c.id < below_id)
        query = query.order_by(_CHANGES.c.id.desc()).limit(ROWS_AT_ONCE)
        lines = [dict(row) for row in session.execute(query).mappings()]
        if not lines:
            return
        below_id = lines[-1]["id"]
        for (kind, name), part in groupby(lines, key=lambda one: (one["kind"], one["table_name"])):
            yield kind, name, list(part)


def _insert(
    session: Session, table: sa.Table, lines: list[dict[str, Any]], *, silent: bool
) -> None:
    rows = [decoded(table, line["before"]) for line in lines]
    if table.name == "outbox":  # nobody is told twice: what a worker held may have been sent
        rows = [row | (_HELD if row["state"] == "claimed" else {}) for row in rows]
    session.execute(sa.insert(table), rows, execution_options={UNKEPT: True})
    if not silent:
        note_created(table.name, [line["row_pk"] for line in lines])


def _change(
    session: Session,
    table: sa.Table,
    lines: list[dict[str, Any]],
    options: Mapping[str, Any],
) -> None:
    pks = [line["row_pk"] for line in lines]
    there = set(session.execute(sa.select(table.c.id).where(table.c.id.in_(pks))).scalars())
    for line in lines:
        if line["row_pk"] not in there:
            raise RowGone(table.name, line["record_key"])
    rows = [decoded(table, line["before"]) for line in lines]
    names = [name for name in rows[0] if name not in _OWN]
    values: dict[str, Any] = {name: sa.bindparam(f"was_{name}") for name in names}
    if "version" in table.c:  # a version read before the change must not pass for this one
        values["version"] = table.c.version + 1
    query = sa.update(table).where(table.c.id == sa.bindparam("pk")).values(values)
    given = [{"pk": row["id"], **{f"was_{n}": row[n] for n in names}} for row in rows]
    session.execute(query, given, execution_options={CHANGED_PKS: pks, **options})


def _mark(session: Session, revision: Mapping[str, Any], now: datetime) -> None:
    """Mark the revision as undone; one that it had taken back itself holds again, and so on."""
    draft = history_draft()
    if draft is not None:
        draft.undoes = revision["id"]
    pk, undone = revision["id"], True
    while pk is not None:
        at = now if undone else None
        session.execute(sa.update(_REVISIONS).where(_REVISIONS.c.id == pk).values(undone_at=at))
        query = sa.select(_REVISIONS.c.undoes).where(_REVISIONS.c.id == pk)
        pk, undone = session.execute(query).scalar_one_or_none(), not undone
