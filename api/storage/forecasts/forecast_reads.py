"""Due list reads: which pairs are due when, as stored, one page at a time?

The due list is the hot read: Core statements over the stored forecasts, in the order of the send-by
date. Pairs without one stand last.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.forecasts.forecasts import UNFINISHED, forecast_query
from solespan.api.storage.tables.pair_extras import PairPhoto
from solespan.api.storage.tables.rack import Pair, Sole, Wearer
from solespan.api.storage.tables.results import Fit, ForecastRow

__all__ = [
    "DueFilter",
    "bands_of",
    "data_versions",
    "fit_payload",
    "forecast_days",
    "forecast_of_pair",
    "list_due",
    "newest_fit_key",
    "pairs_of",
    "send_by_of",
    "wearer_of_pair",
]

_ROWS: sa.Table = ForecastRow.__table__  # type: ignore[assignment]
IDS_PER_QUERY = 500
# In place of no date, and not by an index: rows without one are found pair by pair.
_NO_DATE = sa.literal(date.max, sa.Date())
_PAIRS: sa.Table = Pair.__table__  # type: ignore[assignment]
_WEARERS: sa.Table = Wearer.__table__  # type: ignore[assignment]
_DATED: tuple[sa.ColumnElement[Any], ...] = (
    *(_ROWS.c.send_by, _PAIRS.c.pair_id),
    *(_ROWS.c.foot, _ROWS.c.point),
)


@dataclass(frozen=True)
class DueFilter:
    """What the rows of the due list must have; None = anything."""

    wearer_id: str | None = None
    band: str | None = None
    foot: str | None = None
    point: str | None = None
    send_by_before: date | None = None


def list_due(
    at: Session | sa.Connection, chosen: DueFilter, *, after: Sequence[Any] | None, limit: int
) -> list[dict[str, Any]]:
    """Return up to `limit` forecast rows by send-by date, after the row with sort key `after`.

    `after` is (send_by or None, pair_id, foot, point) of the last row before.
    """
    given = {name: value for name, value in vars(chosen).items() if value is not None}
    rows: list[dict[str, Any]] = []
    if after is None or after[0] is not None:
        rows = _due_part(at, given, "dated", after, limit)
        after = None
    if len(rows) < limit and "send_by_before" not in given:
        rest = None if after is None else after[1:]
        rows += _due_part(at, given, "undated", rest, limit - len(rows))
    return rows


def _due_part(
    at: Session | sa.Connection,
    given: dict[str, Any],
    part: str,
    after: Sequence[Any] | None,
    limit: int,
) -> list[dict[str, Any]]:
    values = {"most": limit, **given}
    if after is not None:
        values |= {f"last_{n}": value for n, value in enumerate(after)}
    query = _due_query(frozenset(given), part, after is not None)
    return _dicts(at.execute(query, values))


@cache
def _due_query(given: frozenset[str], part: str, goes_on: bool) -> sa.Select[Any]:
    """Build the statement once for each set of filters; their values are its parameters.

    An index gives the rows in the order of the send-by date, and each day is sorted by itself. The
    rows without a date come in the order of the pairs' index.
    """
    order = _DATED if part == "dated" else _DATED[1:]
    query = forecast_query().order_by(*order).limit(sa.bindparam("most", type_=sa.Integer()))
    if part == "dated":
        query = query.where(_ROWS.c.send_by.is_not(None))
    else:
        query = query.where(sa.func.coalesce(_ROWS.c.send_by, _NO_DATE) == _NO_DATE)
    columns = {"wearer_id": _WEARERS.c.wearer_id} | {
        name: _ROWS.c[name] for name in ("band", "foot", "point")
    }
    for name in sorted(given & columns.keys()):
        query = query.where(columns[name] == sa.bindparam(name))
    if "send_by_before" in given:
        query = query.where(_ROWS.c.send_by < sa.bindparam("send_by_before"))
    if goes_on:
        last = [sa.bindparam(f"last_{n}", type_=column.type) for n, column in enumerate(order)]
        query = query.where(order[0] >= last[0], sa.tuple_(*order) > sa.tuple_(*last))
    return query


def forecast_of_pair(session: Session, pair_id: str) -> list[dict[str, Any]]:
    """Return the stored forecast rows of one pair, foot by foot and point by point."""
    return _dicts(session.execute(_pair_query(), {"of": pair_id}))


def _dicts(result: sa.Result[Any]) -> list[dict[str, Any]]:
    names = tuple(result.keys())
    return [dict(zip(names, row, strict=True)) for row in result.all()]


@cache
def _pair_query() -> sa.Select[Any]:
    query = forecast_query().where(_PAIRS.c.pair_id == sa.bindparam("of"))
    return query.order_by(_ROWS.c.foot, _ROWS.c.point)


def bands_of(session: Session, wearer_ids: Sequence[str]) -> dict[str, str | None]:
    """Return the stored band of each pair of some wearers."""
    found: dict[str, str | None] = {}
    for start in range(0, len(wearer_ids), IDS_PER_QUERY):
        query = (
            sa.select(_PAIRS.c.pair_id, _ROWS.c.band)
            .join(_PAIRS, _PAIRS.c.id == _ROWS.c.pair_pk)
            .join(Wearer, Wearer.id == _PAIRS.c.wearer_pk)
            .where(
                Wearer.wearer_id.in_(wearer_ids[start : start + IDS_PER_QUERY]),
                _ROWS.c.foot == "pair",
                _ROWS.c.point == "ball",
            )
        )
        found |= {row.pair_id: row.band for row in session.execute(query)}
    return found


def send_by_of(session: Session, pair_id: str) -> date | None:
    """Return the stored send-by date of a pair; None beyond the horizon, or without a forecast."""
    query = (
        sa.select(_ROWS.c.send_by)
        .join(_PAIRS, _PAIRS.c.id == _ROWS.c.pair_pk)
        .where(_PAIRS.c.pair_id == pair_id, _ROWS.c.foot == "pair", _ROWS.c.point == "ball")
    )
    return session.execute(query).scalar()


def wearer_of_pair(session: Session, pair_id: str) -> dict[str, Any] | None:
    """Return `wearer_id`, `time_zone`, `data_version` of a pair's wearer, and `photo_id`, or None.

    `photo_id` is the pair's newest photograph.
    """
    photo = (
        sa.select(PairPhoto.photo_id)
        .where(PairPhoto.pair_pk == Pair.id)
        .order_by(PairPhoto.id.desc())
        .limit(1)
        .scalar_subquery()
        .label("photo_id")
    )
    query = (
        sa.select(Wearer.wearer_id, Wearer.time_zone, Wearer.data_version, photo)
        .join(Pair, Pair.wearer_pk == Wearer.id)
        .where(Pair.pair_id == pair_id)
    )
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def forecast_days(session: Session) -> list[tuple[str, str, date | None, bool]]:
    """Return each wearer who has a sole: id, time zone, and the age of their forecasts.

    The age is the oldest day they were made for, and whether from what is logged now.
    """
    query = (
        sa.select(
            Wearer.wearer_id,
            Wearer.time_zone,
            sa.func.min(_ROWS.c.as_of),
            sa.func.min(_ROWS.c.data_version) == Wearer.data_version,
        )
        .join(Pair, Pair.wearer_pk == Wearer.id)
        .join(Sole, Sole.pair_pk == Pair.id)
        .outerjoin(_ROWS, _ROWS.c.pair_pk == Pair.id)
        .group_by(Wearer.wearer_id, Wearer.time_zone, Wearer.data_version)
        .order_by(Wearer.wearer_id)
    )
    return [(row[0], row[1], row[2], bool(row[3])) for row in session.execute(query)]


def data_versions(
    session: Session, wearer_ids: Collection[str], *, lock: bool = False
) -> dict[str, int]:
    """Return the number of each wearer's last change; with `lock` it stays so until commit."""
    query = (
        sa.select(Wearer.wearer_id, Wearer.data_version)
        .where(Wearer.wearer_id.in_(list(wearer_ids)))
        .order_by(Wearer.id)
    )
    if lock:
        query = query.with_for_update()
    return {row[0]: row[1] for row in session.execute(query)}


def newest_fit_key(session: Session) -> dict[str, Any] | None:
    """Return all of the newest finished fit but its payload, or None."""
    row = session.execute(_newest_fit_query()).mappings().one_or_none()
    return None if row is None else dict(row)


@cache
def _newest_fit_query() -> sa.Select[Any]:
    table: sa.Table = Fit.__table__  # type: ignore[assignment]
    columns = [c for c in table.c if c.name != "payload"]
    whole = table.c.model_version.not_like(f"%{UNFINISHED}")
    return sa.select(*columns).where(whole).order_by(table.c.id.desc()).limit(1)


def fit_payload(session: Session, fit_pk: int) -> dict[str, Any]:
    """Return the stored dict of one fit."""
    query = sa.select(Fit.payload).where(Fit.id == fit_pk)
    payload: dict[str, Any] = session.execute(query).scalar_one()
    return payload


def pairs_of(session: Session, wearer_ids: Collection[str]) -> list[tuple[str, str]]:
    """Return (pair_id, wearer_id) of every pair of some wearers."""
    query = (
        sa.select(Pair.pair_id, Wearer.wearer_id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .where(Wearer.wearer_id.in_(list(wearer_ids)))
    )
    return [(row[0], row[1]) for row in session.execute(query)]
