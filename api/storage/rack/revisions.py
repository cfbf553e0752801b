"""Revisions storage: what was changed lately, how was one record before, and what stands on it?"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.change_capture import (
    RECOMPUTED,
    below,
    decoded,
    owned,
    record_key_of,
)
from solespan.api.storage.tables.history import RecordChange, Revision
from solespan.api.storage.tables.rack import Pair, Root
from solespan.api.storage.tables.results import ImportRun

__all__ = [
    "changes_of_row",
    "counts_of",
    "created_rows",
    "find_revision",
    "forget_history_before",
    "held_before",
    "kept_lines",
    "later_changes",
    "list_revisions",
    "newest_deletion",
    "pair_ids_of",
    "pk_of_record",
    "revision_of_import",
    "row_with_pair",
    "rows_on_top",
    "wearers_touched",
]

_REVISIONS: sa.Table = Revision.__table__  # type: ignore[assignment]
_CHANGES: sa.Table = RecordChange.__table__  # type: ignore[assignment]
_PAIRS: sa.Table = Pair.__table__  # type: ignore[assignment]
_IMPORTS: sa.Table = ImportRun.__table__  # type: ignore[assignment]
_ORDER = {table.name: place for place, table in enumerate(Root.metadata.sorted_tables)}
# What a decision or a plan wrote below a new record keeps nobody from taking the record back.
_NO_HINDRANCE = RECOMPUTED | {
    *("due_outcomes", "rack_plans", "calendar_feeds"),
    *("reminders", "push_devices"),
}
MOST_LATER = 200


def find_revision(
    session: Session, revision_id: str, *, lock: bool = False
) -> dict[str, Any] | None:
    """Return a revision, or None; with `lock` nobody else takes it back meanwhile."""
    query = sa.select(_REVISIONS).where(_REVISIONS.c.revision_id == revision_id)
    row = session.execute(query.with_for_update() if lock else query).mappings().one_or_none()
    return None if row is None else dict(row)


def revision_of_import(session: Session, import_id: str) -> str | None:
    """Return the revision that an import made, while it is kept."""
    query = (
        sa.select(_REVISIONS.c.revision_id)
        .select_from(_REVISIONS.join(_IMPORTS, _REVISIONS.c.import_pk == _IMPORTS.c.id))
        .where(_IMPORTS.c.import_id == import_id)
    )
    return session.execute(query).scalar_one_or_none()


def list_revisions(
    session: Session, *, below_id: int | None, limit: int, only: str = ""
) -> list[dict[str, Any]]:
    """Return revisions newest first, with the id and source of their import.

    `only` is `deletions` or `imports` for those alone that still hold.
    """
    query = (
        sa.select(*_REVISIONS.c, _IMPORTS.c.import_id, _IMPORTS.c.source)
        .select_from(_REVISIONS.outerjoin(_IMPORTS, _REVISIONS.c.import_pk == _IMPORTS.c.id))
        .order_by(_REVISIONS.c.id.desc())
        .limit(limit)
    )
    if below_id is not None:
        query = query.where(_REVISIONS.c.id < below_id)
    if only == "deletions":
        gone = sa.exists().where(
            _CHANGES.c.revision_pk == _REVISIONS.c.id, _CHANGES.c.kind == "deleted"
        )
        query = query.where(gone, _REVISIONS.c.undone_at.is_(None))
    elif only == "imports":
        query = query.where(_REVISIONS.c.import_pk.is_not(None), _REVISIONS.c.undone_at.is_(None))
    return [dict(row) for row in session.execute(query).mappings()]


def counts_of(session: Session, revision_pks: Collection[int]) -> list[dict[str, Any]]:
    """Count the rows of some revisions by table and kind, parents first, with one line of each."""
    if not revision_pks:
        return []
    added = sa.func.sum(_CHANGES.c.last_pk - _CHANGES.c.row_pk + 1)
    rows = sa.cast(added, sa.BigInteger).label("rows")
    query = (
        sa.select(
            _CHANGES.c.revision_pk,
            _CHANGES.c.table_name,
            _CHANGES.c.kind,
            rows,
            sa.func.min(_CHANGES.c.id).label("line"),
            sa.func.min(_CHANGES.c.row_pk).label("row_pk"),
            sa.func.min(_CHANGES.c.record_key).label("record_key"),
        )
        .where(_CHANGES.c.revision_pk.in_(revision_pks))
        .group_by(_CHANGES.c.revision_pk, _CHANGES.c.table_name, _CHANGES.c.kind)
    )
    found = [dict(row) for row in session.execute(query).mappings()]
    _name_single(session, found)
    return sorted(found, key=lambda row: (_ORDER[row["table_name"]], row["kind"]))


def _name_single(session: Session, parts: list[dict[str, Any]]) -> None:
    """Give each part of one row its values as `row`, its key, and the label of its pair."""
    single = [part for part in parts if part["rows"] == 1]
    kept = sa.select(_CHANGES.c.id, _CHANGES.c.before)
    kept = kept.where(_CHANGES.c.id.in_([part["line"] for part in single]))
    before = {row[0]: row[1] for row in session.execute(kept)}
    for part in parts:
        part["row"], part["label"] = {}, None
    created: dict[str, list[dict[str, Any]]] = {}
    for part in single:
        table = Root.metadata.tables[part["table_name"]]
        if (image := before.get(part["line"])) is not None:
            part["row"] = decoded(table, image)
        else:
            created.setdefault(table.name, []).append(part)
    for name, those in created.items():
        rows = _rows_with_pair(session, name, [part["row_pk"] for part in those])
        for part in those:
            if (stored := rows.get(part["row_pk"])) is not None:
                part["row"] = stored
                part["record_key"] = record_key_of(name, stored, stored["pair_id"])
    pairs = {part["row"]["pair_pk"] for part in single if "pair_pk" in part["row"]}
    query = sa.select(_PAIRS.c.id, sa.func.coalesce(_PAIRS.c.label, _PAIRS.c.pair_id))
    labels = {row[0]: row[1] for row in session.execute(query.where(_PAIRS.c.id.in_(pairs)))}
    for part in single:
        own = part["row"].get("label") or part["row"].get("name")
        part["label"] = own or labels.get(part["row"].get("pair_pk"))


def row_with_pair(session: Session, name: str, row_pk: int) -> dict[str, Any] | None:
    """Return a stored row with its pair's id, or None."""
    return _rows_with_pair(session, name, [row_pk]).get(row_pk)


def pair_ids_of(session: Session, pair_pks: Collection[int]) -> dict[int, str]:
    """Return the ids of pairs by their numbers, of those that are there."""
    query = sa.select(_PAIRS.c.id, _PAIRS.c.pair_id).where(_PAIRS.c.id.in_(pair_pks))
    return {row[0]: row[1] for row in session.execute(query)}


def _rows_with_pair(
    session: Session, name: str, row_pks: Collection[int]
) -> dict[int, dict[str, Any]]:
    table = Root.metadata.tables[name]
    source, _, pair_id = owned(table)
    shown = [] if "pair_id" in table.c else [pair_id.label("pair_id")]
    query = sa.select(*table.c, *shown).select_from(source).where(table.c.id.in_(row_pks))
    return {row["id"]: dict(row) for row in session.execute(query).mappings()}


def pk_of_record(session: Session, name: str, key: Mapping[str, Any]) -> int | None:
    """Return the number of the record with this key, or None."""
    table = Root.metadata.tables[name]
    source, _, pair_id = owned(table)
    same = [table.c.get(c, pair_id) == value for c, value in key.items()]
    query = sa.select(table.c.id).select_from(source).where(*same)
    return session.execute(query).scalar_one_or_none()


def kept_lines(session: Session, revision_pk: int, limit: int) -> list[dict[str, Any]]:
    """Return table, number and key of rows that a revision changed or deleted."""
    query = (
        sa.select(_CHANGES.c.table_name, _CHANGES.c.row_pk, _CHANGES.c.record_key)
        .where(_CHANGES.c.revision_pk == revision_pk, _CHANGES.c.kind != "created")
        .order_by(_CHANGES.c.id.desc())
        .limit(limit)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def newest_deletion(session: Session, name: str, record_key: str) -> dict[str, Any] | None:
    """Return the last line that deleted the record with this key and was not taken back."""
    query = (
        sa.select(*_CHANGES.c, _REVISIONS.c.revision_id, _REVISIONS.c.at)
        .select_from(_CHANGES.join(_REVISIONS, _CHANGES.c.revision_pk == _REVISIONS.c.id))
        .where(
            _CHANGES.c.table_name == name,
            _CHANGES.c.record_key == record_key,
            _CHANGES.c.kind == "deleted",
            _REVISIONS.c.undone_at.is_(None),
        )
        .order_by(_CHANGES.c.id.desc())
        .limit(1)
    )
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def changes_of_row(session: Session, name: str, row_pk: int) -> list[dict[str, Any]]:
    """Return the lines of one row, newest first, each with its revision's columns."""
    columns = [
        *(_CHANGES.c[n] for n in ("id", "kind", "before")),
        *(_REVISIONS.c[n] for n in ("revision_id", "at", "actor", "undoes", "undone_at")),
    ]
    query = sa.select(*columns).select_from(
        _CHANGES.join(_REVISIONS, _CHANGES.c.revision_pk == _REVISIONS.c.id)
    )
    query = query.where(_CHANGES.c.table_name == name)
    own = query.where(_CHANGES.c.row_pk == row_pk, _CHANGES.c.kind != "created")
    made = query.where(_CHANGES.c.row_pk <= row_pk, _CHANGES.c.kind == "created")
    made = made.add_columns(_CHANGES.c.last_pk).order_by(_CHANGES.c.row_pk.desc()).limit(20)
    found = [dict(row) for row in session.execute(own).mappings()]
    found += [dict(row) for row in session.execute(made).mappings() if row["last_pk"] >= row_pk]
    table = Root.metadata.tables[name]
    for line in found:
        line["before"] = None if line["before"] is None else decoded(table, line["before"])
    return sorted(found, key=lambda line: -line["id"])


def created_rows(revision_pk: int, table: sa.Table) -> sa.Select[Any]:
    """Select the numbers of the rows of a table that a revision created and that are there."""
    runs = _CHANGES.alias("runs")
    mine = sa.and_(
        runs.c.revision_pk == revision_pk,
        runs.c.table_name == table.name,
        runs.c.kind == "created",
    )
    made = table.alias("made")
    between = made.c.id.between(runs.c.row_pk, runs.c.last_pk)
    return sa.select(made.c.id).select_from(runs.join(made, between)).where(mine)


def later_changes(session: Session, revision_pk: int) -> list[dict[str, Any]]:
    """Return what was changed later in rows of a revision and still holds.

    A row that the revision created and that was deleted since hinders nobody.
    """
    first, later = _CHANGES.alias("first"), _CHANGES.alias("later")
    of = _REVISIONS.alias("of")
    same = sa.and_(
        later.c.table_name == first.c.table_name,
        later.c.row_pk.between(first.c.row_pk, first.c.last_pk),
        later.c.id > first.c.id,
        later.c.revision_pk != revision_pk,
        later.c.kind != "created",
    )
    query = (
        sa.select(
            later.c.table_name,
            later.c.row_pk,
            later.c.record_key,
            later.c.kind,
            first.c.kind.label("was"),
            of.c.at,
        )
        .select_from(first.join(later, same).join(of, later.c.revision_pk == of.c.id))
        .where(
            first.c.revision_pk == revision_pk,
            of.c.undone_at.is_(None),
            of.c.undoes.is_(None),
        )
        .order_by(later.c.id)
    )
    rows = [dict(row) for row in session.execute(query).mappings()]
    gone = {(r["table_name"], r["row_pk"]) for r in rows if r["kind"] == "deleted"}
    return [
        row
        for row in rows
        if row["was"] != "created" or (row["table_name"], row["row_pk"]) not in gone
    ][:MOST_LATER]


def rows_on_top(session: Session, revision_pk: int) -> dict[str, int]:
    """Count, by table, the rows that others put below the rows that a revision created."""
    made = sa.select(_CHANGES.c.table_name).where(
        _CHANGES.c.revision_pk == revision_pk, _CHANGES.c.kind == "created"
    )
    found: dict[str, int] = {}
    for name in session.execute(made.distinct()).scalars():
        table = Root.metadata.tables[name]
        for other, which, rule in below(table, table.c.id.in_(created_rows(revision_pk, table))):
            if rule != "CASCADE" or other.name in _NO_HINDRANCE:
                continue
            count = sa.select(sa.func.count()).select_from(other).where(which)
            count = count.where(other.c.id.not_in(created_rows(revision_pk, other)))
            if number := session.execute(count).scalar_one():
                found[other.name] = max(number, found.get(other.name, 0))
    return found


def wearers_touched(session: Session, revision_pk: int) -> set[int]:
    """Return whose rows a revision created, changed or deleted."""
    mine = _CHANGES.c.revision_pk == revision_pk
    query = sa.select(_CHANGES.c.wearer_pk).where(mine, _CHANGES.c.wearer_pk.is_not(None))
    found = set(session.execute(query.distinct()).scalars())
    for name in session.execute(sa.select(_CHANGES.c.table_name).where(mine).distinct()).scalars():
        table = Root.metadata.tables[name]
        source, wearer, _ = owned(table)
        changed = sa.select(_CHANGES.c.row_pk).where(
            mine, _CHANGES.c.table_name == name, _CHANGES.c.kind == "changed"
        )
        which = table.c.id.in_(created_rows(revision_pk, table)) | table.c.id.in_(changed)
        owners = sa.select(wearer).select_from(source).where(which, wearer.is_not(None))
        found |= set(session.execute(owners.distinct()).scalars())
    return found


def held_before(session: Session, wearer_pk: int) -> list[dict[str, Any]]:
    """Return every line that keeps a row of one wearer, oldest first."""
    columns = [
        *(_CHANGES.c[n] for n in ("table_name", "kind", "record_key", "before")),
        *(_REVISIONS.c[n] for n in ("at", "actor")),
    ]
    query = sa.select(*columns).select_from(
        _CHANGES.join(_REVISIONS, _CHANGES.c.revision_pk == _REVISIONS.c.id)
    )
    rows = session.execute(query.where(_CHANGES.c.wearer_pk == wearer_pk).order_by(_CHANGES.c.id))
    return [dict(row) for row in rows.mappings()]


def forget_history_before(session: Session, moment: datetime) -> int:
    """Delete the revisions older than `moment`; return how many."""
    result = session.execute(sa.delete(_REVISIONS).where(_REVISIONS.c.at < moment))
    return int(result.rowcount)  # type: ignore[attr-defined]
