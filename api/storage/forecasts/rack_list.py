"""Rack list reads: which pairs stand on one page of the rack, and how many has each band?

The order is that of `dashboards.order.pair_rows`. Pairs in use with a send-by date come first, in
the order of an index. Then come the others with a forecast, and last those without.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.forecasts.forecasts import forecast_query
from solespan.api.storage.rack.frames import frame_of_rows
from solespan.api.storage.tables.pair_extras import PairPhoto
from solespan.api.storage.tables.rack import Pair, WearDay, Wearer
from solespan.api.storage.tables.results import ForecastRow
from solespan.forecast.frames import FORECAST, PROBABLY_GONE

__all__ = [
    "LISTED",
    "PLACES",
    "RackFilter",
    "ball_rows",
    "count_bands",
    "count_pairs",
    "list_pairs",
    "ordered_pairs",
    "people_with_pairs",
    "time_zones",
    "worn_on",
]

PLACES = ("dated", "other", "pending")
_PHOTOS: sa.Table = PairPhoto.__table__  # type: ignore[assignment]
_ROWS: sa.Table = ForecastRow.__table__  # type: ignore[assignment]
_PAIRS: sa.Table = Pair.__table__  # type: ignore[assignment]
_WEARERS: sa.Table = Wearer.__table__  # type: ignore[assignment]
_DAYS: sa.Table = WearDay.__table__  # type: ignore[assignment]
LISTED = ("pair_id", "label", "construction", "form", "colour", "maker", "last", "size_eu", "tags")
_PICTURE = (  # the newest photograph
    sa.select(_PHOTOS.c.photo_id)
    .where(_PHOTOS.c.pair_pk == _PAIRS.c.id)
    .order_by(_PHOTOS.c.id.desc())
    .limit(1)
    .scalar_subquery()
    .label("photo_id")
)
_WHOSE = (_WEARERS.c.wearer_id, _WEARERS.c.name, _WEARERS.c.dress_week)
_OWNED = _PAIRS.join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id)
_RANK = sa.case(
    (_ROWS.c.band == "retired", 3),
    (_ROWS.c.band == "away", 2),
    (_ROWS.c.chance_in_use < PROBABLY_GONE, 1),
    else_=0,
)
# The same as rank 0, in terms of which a database knows how many rows they leave.
_IN_USE = (
    sa.func.coalesce(_ROWS.c.band, "").not_in(("retired", "away")),
    sa.or_(_ROWS.c.chance_in_use.is_(None), _ROWS.c.chance_in_use >= PROBABLY_GONE),
)
_RESOLE = (_ROWS.c.foot == "pair", _ROWS.c.point == "ball")


@dataclass(frozen=True)
class RackFilter:
    """Whose pairs and of which band; empty = any."""

    wearer_id: str = ""
    band: str = ""

    @property
    def given(self) -> dict[str, str]:
        """What is not empty."""
        return {name: value for name, value in vars(self).items() if value}


def count_pairs(session: Session, wearer_id: str = "") -> int:
    """Count the pairs of a wearer, or all."""
    query = sa.select(sa.func.count()).select_from(_PAIRS)
    if wearer_id:
        query = sa.select(sa.func.count()).select_from(_OWNED)
        query = query.where(_WEARERS.c.wearer_id == wearer_id)
    return session.execute(query).scalar_one()


def count_bands(session: Session, chosen: RackFilter) -> dict[tuple[str, str], int]:
    """Count the pairs with a forecast by their place in the order and their band."""
    rows = session.execute(_count_query(frozenset(chosen.given)), chosen.given)
    return {(place, band or ""): count for place, band, count in rows}


@cache
def _count_query(given: frozenset[str]) -> sa.Select[Any]:
    place = sa.case((sa.and_(_RANK == 0, _ROWS.c.send_by.is_not(None)), "dated"), else_="other")
    source: sa.FromClause = _ROWS
    if "wearer_id" in given:
        source = _ROWS.join(_PAIRS, _ROWS.c.pair_pk == _PAIRS.c.id).join(
            _WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id
        )
    query = sa.select(place.label("place"), _ROWS.c.band, sa.func.count()).select_from(source)
    return _narrowed(query.where(*_RESOLE), given).group_by(sa.text("place"), _ROWS.c.band)


def list_pairs(
    session: Session, chosen: RackFilter, place: str, *, skip: int = 0, most: int | None = None
) -> Sequence[sa.Row[Any]]:
    """List pairs of one place in the order: number, `LISTED`, band, wearer and the wearer's name.

    `skip` are left out, and at most `most` are returned.
    """
    values: dict[str, Any] = dict(chosen.given)
    if most is not None:
        values |= {"skip": skip, "most": most}
    query = _list_query(place, frozenset(chosen.given), most is not None)
    return session.execute(query, values).all()


@cache
def _list_query(place: str, given: frozenset[str], a_part: bool) -> sa.Select[Any]:
    named = (_PAIRS.c.id, *(_PAIRS.c[name] for name in LISTED), _PICTURE)
    if place == "pending":
        told = sa.exists().where(_ROWS.c.pair_pk == _PAIRS.c.id, *_RESOLE)
        query = sa.select(*named, sa.literal("").label("band"), *_WHOSE).select_from(_OWNED)
        query = query.where(~told).order_by(_PAIRS.c.pair_id)
    else:
        source = _ROWS.join(_PAIRS, _ROWS.c.pair_pk == _PAIRS.c.id).join(
            _WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id
        )
        query = sa.select(*named, _ROWS.c.band, *_WHOSE).select_from(source).where(*_RESOLE)
        ties = (*(c.nulls_last() for c in (_ROWS.c.due_p10, _ROWS.c.due_p05)), _PAIRS.c.pair_id)
        if place == "dated":
            query = query.where(_ROWS.c.send_by.is_not(None), *_IN_USE)
            query = query.order_by(_ROWS.c.send_by, *ties)
        else:
            query = query.where(sa.or_(_RANK > 0, _ROWS.c.send_by.is_(None)))
            query = query.order_by(_RANK, _ROWS.c.send_by.nulls_last(), *ties)
    if a_part:
        query = query.limit(sa.bindparam("most", type_=sa.Integer()))
        query = query.offset(sa.bindparam("skip", type_=sa.Integer()))
    return _narrowed(query, given)


def ordered_pairs(
    session: Session, chosen: RackFilter, order: str, *, skip: int = 0, most: int | None = None
) -> Sequence[sa.Row[Any]]:
    """List pairs as `list_pairs` does, in another order: by `name`, or the last `worn` first."""
    values: dict[str, Any] = dict(chosen.given)
    if most is not None:
        values |= {"skip": skip, "most": most}
    query = _ordered_query(order, frozenset(chosen.given), most is not None)
    return session.execute(query, values).all()


@cache
def _ordered_query(order: str, given: frozenset[str], a_part: bool) -> sa.Select[Any]:
    named = (_PAIRS.c.id, *(_PAIRS.c[name] for name in LISTED), _PICTURE)
    resole = sa.and_(_ROWS.c.pair_pk == _PAIRS.c.id, *_RESOLE)
    query = sa.select(*named, _ROWS.c.band, *_WHOSE)
    query = query.select_from(_OWNED.outerjoin(_ROWS, resole))
    if order == "worn":
        days = sa.select(sa.func.max(_DAYS.c.worn_on)).where(_DAYS.c.pair_pk == _PAIRS.c.id)
        query = query.order_by(days.scalar_subquery().desc().nulls_last(), _PAIRS.c.pair_id)
    else:
        name = sa.func.lower(sa.func.coalesce(_PAIRS.c.label, _PAIRS.c.pair_id))
        query = query.order_by(name, _PAIRS.c.pair_id)
    if a_part:
        query = query.limit(sa.bindparam("most", type_=sa.Integer()))
        query = query.offset(sa.bindparam("skip", type_=sa.Integer()))
    return _narrowed(query, given)


def _narrowed(query: sa.Select[Any], given: frozenset[str]) -> sa.Select[Any]:
    columns = {"wearer_id": _WEARERS.c.wearer_id, "band": _ROWS.c.band}
    return query.where(*(columns[name] == sa.bindparam(name) for name in sorted(given)))


def ball_rows(session: Session, pair_pks: Collection[int]) -> pd.DataFrame:
    """Read the forecast rows of some pairs at the ball: of the pair and of each foot."""
    query = forecast_query().where(_ROWS.c.pair_pk.in_(list(pair_pks)), _ROWS.c.point == "ball")
    return frame_of_rows(session.execute(query).all(), FORECAST)


def worn_on(session: Session, pair_pks: Collection[int], day: date) -> set[str]:
    """Return which of some pairs were worn on a day."""
    query = sa.select(_PAIRS.c.pair_id).select_from(_DAYS.join(_PAIRS))
    query = query.where(_DAYS.c.pair_pk.in_(list(pair_pks)), _DAYS.c.worn_on == day)
    return set(session.execute(query).scalars())


def people_with_pairs(session: Session, most: int) -> list[tuple[str, str | None]]:
    """Return id and name of up to `most` wearers who have a pair."""
    mine = sa.exists().where(_PAIRS.c.wearer_pk == _WEARERS.c.id)
    query = sa.select(_WEARERS.c.wearer_id, _WEARERS.c.name).where(mine).limit(most)
    return [(row[0], row[1]) for row in session.execute(query)]


def time_zones(session: Session) -> list[str]:
    """Return the time zones that wearers live in: two of them at most."""
    query = sa.select(_WEARERS.c.time_zone).distinct().limit(2)
    return list(session.execute(query).scalars())
