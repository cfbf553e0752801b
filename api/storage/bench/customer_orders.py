"""Customer's orders storage: which orders, steps and photographs are one customer's own?"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.bench import BenchEvent, BenchOrder, BenchPhoto
from solespan.api.storage.tables.pair_extras import PairPhoto
from solespan.api.storage.tables.rack import Pair, Wearer

__all__ = ["orders_of_wearer", "own_photograph", "photographs_of", "steps_of"]

_SHOWN = (
    *("id", "order_id", "work", "more_works", "stage", "booked_on", "expected_on", "promised_on"),
    *("by_post", "price_minor", "currency", "version"),
)


def orders_of_wearer(session: Session, wearer_pk: int, limit: int) -> list[dict[str, Any]]:
    """Return the newest orders of a customer, without what only the shop's people read."""
    columns = [getattr(BenchOrder, name) for name in _SHOWN]
    query = (
        sa.select(*columns, Pair.pair_id)
        .join(Pair, BenchOrder.pair_pk == Pair.id)
        .where(Pair.wearer_pk == wearer_pk)
        .order_by(BenchOrder.id.desc())
        .limit(limit)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def steps_of(
    session: Session, order_pks: Collection[int]
) -> dict[int, list[tuple[datetime, str, list[str]]]]:
    """Return the steps of orders in their order: when, to which stage, and the works agreed to."""
    columns = (BenchEvent.order_pk, BenchEvent.at, BenchEvent.to_stage, BenchEvent.details)
    query = sa.select(*columns).where(BenchEvent.order_pk.in_(list(order_pks)))
    found: dict[int, list[tuple[datetime, str, list[str]]]] = {}
    for order_pk, at, stage, details in session.execute(query.order_by(BenchEvent.id)):
        found.setdefault(order_pk, []).append((at, stage, list(details.get("agreed", []))))
    return found


def photographs_of(session: Session, order_pks: Collection[int]) -> list[dict[str, Any]]:
    """Return `order_pk`, `photo_id` and `taken_in` of the photographs of orders, oldest first."""
    columns = (BenchPhoto.order_pk, BenchPhoto.photo_id, BenchPhoto.taken_in)
    query = sa.select(*columns).where(BenchPhoto.order_pk.in_(list(order_pks)))
    return [dict(row) for row in session.execute(query.order_by(BenchPhoto.id)).mappings()]


def own_photograph(session: Session, wearer_pk: int, photo_id: str) -> tuple[str, bytes] | None:
    """Return media type and bytes of a photograph of a customer's own pair; None for any other."""
    of_work = (
        sa.select(BenchPhoto.media_type, BenchPhoto.content)
        .join(BenchOrder, BenchPhoto.order_pk == BenchOrder.id)
        .join(Pair, BenchOrder.pair_pk == Pair.id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .where(Wearer.id == wearer_pk, BenchPhoto.photo_id == photo_id)
    )
    of_pair = (
        sa.select(PairPhoto.media_type, PairPhoto.thumbnail)
        .join(Pair, PairPhoto.pair_pk == Pair.id)
        .where(Pair.wearer_pk == wearer_pk, PairPhoto.photo_id == photo_id)
    )
    for query in (of_work, of_pair):
        row = session.execute(query).first()
        if row is not None:
            return row[0], row[1]
    return None
