"""Records storage: how is one logged record found, listed, written, changed and removed?

Rows go in and out as plain dicts with the columns of `forecast.frames.TABLES` and `version`; the
numbers that only the database knows stay here. Statements are SQLAlchemy Core, and those of one
record are built once and given values: these are the reads and writes that must stay fast.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict
from solespan.api.storage.tables.rack import LOGGED
from solespan.forecast.frames import TABLES

__all__ = [
    "Owner",
    "Row",
    "change_record",
    "close_sole",
    "count_all_below",
    "count_below",
    "count_wear_days",
    "find_record",
    "insert_record",
    "list_records",
    "lock_wearers",
    "nearest_ids",
    "owner_of",
    "pairs_labelled",
    "remove_record",
    "soles_of",
    "some_labels",
    "wearer_id_of",
]

Row = dict[str, Any]
IDS_PER_QUERY = 500

_WEARERS: sa.Table = LOGGED["wearers"].__table__  # type: ignore[assignment]
_PAIRS: sa.Table = LOGGED["pairs"].__table__  # type: ignore[assignment]
_SOLES: sa.Table = LOGGED["soles"].__table__  # type: ignore[assignment]
_BELOW_PAIRS = ("soles", "wear_days", "checks", "bench_jobs", "layers")


@dataclass(frozen=True)
class Owner:
    """Whose record it is: the wearer and, below wearers, the pair."""

    wearer_pk: int
    wearer_id: str
    time_zone: str
    pair_pk: int | None = None


@dataclass(frozen=True)
class _Shape:
    """The statement parts of one table: where from, which columns, in which order."""

    table: sa.Table
    source: sa.FromClause
    columns: dict[str, sa.ColumnElement[Any]]
    order: tuple[sa.ColumnElement[Any], ...]


@cache
def _shape(name: str) -> _Shape:
    table: sa.Table = LOGGED[name].__table__  # type: ignore[assignment]
    source: sa.FromClause = table
    of_wearer = _PAIRS.c.wearer_pk == _WEARERS.c.id
    if name == "pairs":
        source = table.join(_WEARERS, of_wearer)
    elif name != "wearers":
        source = table.join(_PAIRS, table.c.pair_pk == _PAIRS.c.id).join(_WEARERS, of_wearer)
    ids = {"wearer_id": _WEARERS.c.wearer_id, "pair_id": _PAIRS.c.pair_id}
    columns = {c.name: ids.get(c.name, table.c.get(c.name)) for c in TABLES[name].stored}
    order = tuple(columns[k] for k in TABLES[name].key)
    return _Shape(table, source, columns, order)  # type: ignore[arg-type]


def _select(shape: _Shape) -> sa.Select[Any]:
    named = [column.label(name) for name, column in shape.columns.items()]
    return sa.select(*named, shape.table.c.version).select_from(shape.source)


def find_record(session: Session, name: str, key: Mapping[str, Any]) -> Row | None:
    """Return the record with this key, or None."""
    values = {f"key_{k}": key[k] for k in TABLES[name].key}
    row = session.execute(_find_query(name), values).mappings().one_or_none()
    return None if row is None else dict(row)


@cache
def _find_query(name: str) -> sa.Select[Any]:
    shape = _shape(name)
    same = [shape.columns[k] == sa.bindparam(f"key_{k}") for k in TABLES[name].key]
    return _select(shape).where(*same)


def list_records(
    session: Session,
    name: str,
    *,
    equal: Mapping[str, Any],
    since: tuple[str, date] | None = None,
    until: tuple[str, date] | None = None,
    after: Sequence[Any] | None = None,
    limit: int,
) -> list[Row]:
    """Return up to `limit` records in the order of their key.

    Parameters
    ----------
    equal
        Columns and the value each must have; `wearer_id` works for every table.
    since, until
        A date column and its first or last day, inclusive.
    after
        The key of the last record of the page before.
    """
    shape = _shape(name)
    searched = {"wearer_id": _WEARERS.c.wearer_id, **shape.columns}
    query = _select(shape).where(*(searched[k] == value for k, value in equal.items()))
    if since is not None:
        query = query.where(shape.columns[since[0]] >= since[1])
    if until is not None:
        query = query.where(shape.columns[until[0]] <= until[1])
    if after is not None:
        last = [sa.literal(v, c.type) for v, c in zip(after, shape.order, strict=True)]
        query = query.where(sa.tuple_(*shape.order) > sa.tuple_(*last))
    rows = session.execute(query.order_by(*shape.order).limit(limit)).mappings()
    return [dict(row) for row in rows]


def owner_of(session: Session, column: str, public_id: str, *, lock: bool) -> Owner | None:
    """Return whose pair (`column` = pair_id) or which wearer (wearer_id) this is, or None.

    With `lock`, nobody else changes this wearer's records until the transaction ends (PostgreSQL;
    on SQLite the writer has the whole database already).
    """
    row = session.execute(_owner_query(column, lock), {"of": public_id}).one_or_none()
    return None if row is None else Owner(*row)


@cache
def _owner_query(column: str, lock: bool) -> sa.Select[Any]:
    columns = (_WEARERS.c.id, _WEARERS.c.wearer_id, _WEARERS.c.time_zone)
    if column == "wearer_id":
        query = sa.select(*columns, sa.null()).where(_WEARERS.c.wearer_id == sa.bindparam("of"))
    else:
        query = (
            sa.select(*columns, _PAIRS.c.id)
            .select_from(_PAIRS.join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id))
            .where(_PAIRS.c.pair_id == sa.bindparam("of"))
        )
    return query.with_for_update(of=_WEARERS) if lock else query


def lock_wearers(session: Session, wearer_pks: Collection[int]) -> None:
    """Let nobody else change these wearers' records until the transaction ends (PostgreSQL)."""
    pks = sorted(wearer_pks)
    for start in range(0, len(pks), IDS_PER_QUERY):
        some = _WEARERS.c.id.in_(pks[start : start + IDS_PER_QUERY])
        query = sa.select(_WEARERS.c.id).where(some).order_by(_WEARERS.c.id)
        session.execute(query.with_for_update()).all()


def wearer_id_of(session: Session, wearer_pk: int) -> str | None:
    """Return the id of the wearer with this number, or None."""
    query = sa.select(_WEARERS.c.wearer_id).where(_WEARERS.c.id == wearer_pk)
    return session.execute(query).scalar_one_or_none()


def soles_of(session: Session, pair_pk: int) -> list[Row]:
    """Return the soles of one pair, first fitted first."""
    return [dict(r) for r in session.execute(_soles_query(), {"of": pair_pk}).mappings()]


@cache
def _soles_query() -> sa.Select[Any]:
    query = sa.select(
        _SOLES.c.sole_id, _SOLES.c.fitted_on, _SOLES.c.removed_on, _SOLES.c.nominal_thickness_mm
    )
    return query.where(_SOLES.c.pair_pk == sa.bindparam("of")).order_by(_SOLES.c.fitted_on)


def insert_record(
    session: Session, name: str, values: Mapping[str, Any], owner: Owner | None
) -> None:
    """Write a new record; the caller has looked that its key is free and its owner exists."""
    shape = _shape(name)
    own = {k: v for k, v in values.items() if k in shape.table.c}
    if name == "pairs" and owner is not None:
        own["wearer_pk"] = owner.wearer_pk
    elif name != "wearers" and owner is not None:
        own["pair_pk"] = owner.pair_pk
    try:
        session.execute(sa.insert(shape.table), own)
    except IntegrityError as cause:
        raise Conflict(
            f"Another request wrote this record in {name} just now.",
            where=", ".join(TABLES[name].key),
            remedy="Read it and decide again.",
        ) from cause


def _own_row(name: str, key: Mapping[str, Any], owner: Owner, version: int) -> list[Any]:
    table = _shape(name).table
    same = [table.c[k] == key[k] for k in TABLES[name].key if k in table.c]
    if "pair_pk" in table.c:
        same.append(table.c.pair_pk == owner.pair_pk)
    return [*same, table.c.version == version]


def close_sole(session: Session, sole_id: str, removed_on: date) -> None:
    """Let a sole end on a day, as a new version of it."""
    query = sa.update(_SOLES).where(_SOLES.c.sole_id == sole_id)
    session.execute(query.values(removed_on=removed_on, version=_SOLES.c.version + 1))


def change_record(
    session: Session,
    name: str,
    key: Mapping[str, Any],
    values: Mapping[str, Any],
    *,
    owner: Owner,
    version: int,
) -> bool:
    """Replace the values of a record if it still has `version`; return whether it had."""
    table = _shape(name).table
    own = {k: v for k, v in values.items() if k in table.c}
    query = sa.update(table).where(*_own_row(name, key, owner, version))
    result = session.execute(query.values(**own, version=version + 1))
    return bool(result.rowcount)  # type: ignore[attr-defined]


def remove_record(
    session: Session, name: str, key: Mapping[str, Any], *, owner: Owner, version: int
) -> bool:
    """Delete a record, and what belongs to it, if it still has `version`."""
    query = sa.delete(_shape(name).table).where(*_own_row(name, key, owner, version))
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def count_below(session: Session, name: str, owner: Owner) -> dict[str, int]:
    """Count the records that would go with a wearer or a pair, by table; others have none."""
    if name == "wearers":
        below = {"pairs": _PAIRS.c.wearer_pk == owner.wearer_pk}
    elif name == "pairs":
        tables = {t: _shape(t).table for t in _BELOW_PAIRS}
        below = {t: table.c.pair_pk == owner.pair_pk for t, table in tables.items()}
    else:
        return {}
    counts = {
        t: session.execute(
            sa.select(sa.func.count()).select_from(_shape(t).table).where(condition)
        ).scalar_one()
        for t, condition in below.items()
    }
    return {t: n for t, n in counts.items() if n}


def count_all_below(session: Session, name: str, owner: Owner) -> dict[str, int]:
    """Count everything of the log that would go with a wearer or a pair, by table."""
    if name == "pairs":
        return count_below(session, name, owner)
    counts = count_below(session, name, owner)
    mine = sa.select(_PAIRS.c.id).where(_PAIRS.c.wearer_pk == owner.wearer_pk)
    for table in _BELOW_PAIRS:
        rows = _shape(table).table
        query = sa.select(sa.func.count()).select_from(rows).where(rows.c.pair_pk.in_(mine))
        counts[table] = session.execute(query).scalar_one()
    return {table: n for table, n in counts.items() if n}


def count_wear_days(session: Session, owner: Owner) -> int:
    """Count the wear days of a wearer's pairs."""
    days = _shape("wear_days").table
    query = sa.select(sa.func.count()).select_from(days.join(_PAIRS, days.c.pair_pk == _PAIRS.c.id))
    return session.execute(query.where(_PAIRS.c.wearer_pk == owner.wearer_pk)).scalar_one()


def nearest_ids(session: Session, name: str, limit: int) -> list[str]:
    """Return the first ids of a table in their order, to suggest one for a misspelt id."""
    column = _shape(name).order[0]
    return list(session.execute(sa.select(column).order_by(column).limit(limit)).scalars())


def pairs_labelled(session: Session, label: str, limit: int) -> list[tuple[str, str]]:
    """Return pair and wearer of the pairs with a label, whatever its capital letters."""
    same = sa.or_(_PAIRS.c.label == label, sa.func.lower(_PAIRS.c.label) == label.lower())
    query = sa.select(_PAIRS.c.pair_id, _WEARERS.c.wearer_id).select_from(
        _PAIRS.join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id)
    )
    rows = session.execute(query.where(same).order_by(_PAIRS.c.pair_id).limit(limit))
    return [(pair_id, wearer_id) for pair_id, wearer_id in rows]


def some_labels(session: Session, limit: int) -> list[str]:
    """Return the first labels of pairs, to suggest one for a misspelt name."""
    column = _PAIRS.c.label
    query = sa.select(column).where(column.is_not(None)).distinct().order_by(column).limit(limit)
    return list(session.execute(query).scalars())
