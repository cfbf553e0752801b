"""Bulk writes: how are many rows found, inserted and updated at once, on both databases?"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime
from typing import Any, cast

import pandas as pd
from sqlalchemy import Table, bindparam, func, insert, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict
from solespan.api.storage.change_capture import CHANGED_PKS, note_created
from solespan.api.storage.rack.copied_rows import copied, is_copied
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.tables.rack import LOGGED, Pair, WearDay

__all__ = [
    "conflicts_told",
    "first_logged_on",
    "insert_rows",
    "pks_by_id",
    "stored_rows",
    "update_rows",
]

IDS_PER_QUERY = 500
ROWS_PER_STATEMENT = 5000


@contextmanager
def conflicts_told() -> Iterator[None]:
    """Say so when someone else wrote the same rows in the meantime; possible on PostgreSQL only."""
    try:
        yield
    except IntegrityError as cause:
        raise Conflict(
            "Someone else wrote some of these rows in the meantime; nothing was written.",
            remedy="Do it again.",
        ) from cause


def _parts(ids: Iterable[str]) -> Iterator[list[str]]:
    ordered = sorted(set(ids))
    for start in range(0, len(ordered), IDS_PER_QUERY):
        yield ordered[start : start + IDS_PER_QUERY]


def stored_rows(session: Session, name: str, by: str, ids: Collection[str]) -> pd.DataFrame:
    """Read the rows of one table whose `by` (a text id) is among `ids`, with their number `pk`."""
    return load_rows(session, name, by=by, ids=ids, with_pk=True)


def pks_by_id(session: Session, name: str, ids: Collection[str]) -> dict[str, int]:
    """Return the numbers of the wearers, pairs, soles or bench jobs with these text ids."""
    table = cast("Table", LOGGED[name].__table__)
    key = table.c[{"wearers": "wearer_id", "pairs": "pair_id"}[name]]
    found: dict[str, int] = {}
    for part in _parts(ids):
        rows = session.execute(select(key, table.c.id).where(key.in_(part)))
        found.update((row[0], row[1]) for row in rows)
    return found


def first_logged_on(session: Session, pair_ids: Collection[str]) -> dict[str, date]:
    """Return the first day with a stored wear day for each pair that has one."""
    found: dict[str, date] = {}
    for part in _parts(pair_ids):
        query = (
            select(Pair.pair_id, func.min(WearDay.worn_on))
            .join(WearDay, WearDay.pair_pk == Pair.id)
            .where(Pair.pair_id.in_(part))
            .group_by(Pair.pair_id)
        )
        found.update((row[0], row[1]) for row in session.execute(query))
    return found


def insert_rows(session: Session, name: str, rows: Sequence[Mapping[str, Any]]) -> None:
    """Insert rows given as dicts of stored columns, all with the same keys."""
    table = cast("Table", LOGGED[name].__table__)
    now = datetime.now(UTC)
    common = {"version": 1, "created_at": now, "updated_at": now}
    for start in range(0, len(rows), ROWS_PER_STATEMENT):
        part = [{**row, **common} for row in rows[start : start + ROWS_PER_STATEMENT]]
        if is_copied(session, len(part)):
            names = tuple(part[0])
            pks = copied(session, table, names, (tuple(row.values()) for row in part))
            note_created(name, pks)
        else:
            session.execute(insert(table), part)


def update_rows(session: Session, name: str, rows: Sequence[Mapping[str, Any]]) -> None:
    """Change rows given as dicts of `pk` and stored columns, all with the same keys.

    The version of each row rises by one.
    """
    if not rows:
        return
    table = cast("Table", LOGGED[name].__table__)
    columns = [column for column in rows[0] if column != "pk"]
    statement = (
        update(table)
        .where(table.c.id == bindparam("pk"))
        .values(
            {column: bindparam(f"new_{column}") for column in columns}
            | {"version": table.c.version + 1, "updated_at": datetime.now(UTC)}
        )
    )
    changes = [
        {"pk": row["pk"], **{f"new_{column}": row[column] for column in columns}} for row in rows
    ]
    pks = [int(row["pk"]) for row in rows]
    session.execute(statement, changes, execution_options={CHANGED_PKS: pks})
