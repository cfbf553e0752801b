"""Orders storage: how are bench orders, their audit, papers and photographs found and written?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.errors import Conflict
from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.bench import BenchEvent, BenchOrder, BenchPaper, BenchPhoto
from solespan.api.storage.tables.rack import BenchJob, Pair, Wearer

__all__ = [
    "add_event",
    "add_photo",
    "change_order",
    "count_open",
    "count_photos",
    "delete_photo",
    "events_of",
    "filed_papers",
    "find_order",
    "find_photo",
    "insert_order",
    "list_orders",
    "open_jobs",
    "open_orders",
    "order_of_photo",
    "papers_of",
    "photos_of",
    "put_paper",
    "remove_order",
]

_ORDERS: sa.Table = BenchOrder.__table__  # type: ignore[assignment]
_EVENTS: sa.Table = BenchEvent.__table__  # type: ignore[assignment]
_PAPERS: sa.Table = BenchPaper.__table__  # type: ignore[assignment]
_PHOTOS: sa.Table = BenchPhoto.__table__  # type: ignore[assignment]
_HIDDEN = ("created_at", "updated_at", "tenant_pk")


def _query() -> sa.Select[Any]:
    columns = [c for c in _ORDERS.c if c.name not in _HIDDEN]
    return sa.select(*columns, Pair.pair_id).select_from(
        _ORDERS.join(Pair, _ORDERS.c.pair_pk == Pair.id)
    )


def find_order(session: Session, order_id: str, *, lock: bool = False) -> dict[str, Any] | None:
    """Return an order, with `id` and `pair_pk`; with `lock` it stays so until commit."""
    query = _query().where(_ORDERS.c.order_id == order_id)
    if lock:
        query = query.with_for_update(of=_ORDERS)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def list_orders(
    session: Session,
    *,
    stage: str | None,
    pair_id: str | None,
    below_id: int | None,
    limit: int,
    ticket: int | None = None,
) -> list[dict[str, Any]]:
    """Return orders, newest first, from below a row number on."""
    query = _query().order_by(_ORDERS.c.id.desc()).limit(limit)
    if stage is not None:
        query = query.where(_ORDERS.c.stage == stage)
    if pair_id is not None:
        query = query.where(Pair.pair_id == pair_id)
    if ticket is not None:
        query = query.where(_ORDERS.c.ticket == ticket)
    if below_id is not None:
        query = query.where(_ORDERS.c.id < below_id)
    return [dict(row) for row in session.execute(query).mappings()]


def open_orders(session: Session, limit: int) -> list[dict[str, Any]]:
    """Return orders not yet given back, those promised or expected soonest first.

    Beside the order's own columns: `pair_label`, `construction`, `owner`, `phone`, `wearer_id`, and
    `received_on` of its job.
    """
    job = sa.and_(BenchJob.job_id == _ORDERS.c.order_id, BenchJob.pair_pk == _ORDERS.c.pair_pk)
    query = (
        sa.select(
            *(c for c in _ORDERS.c if c.name not in _HIDDEN),
            Pair.pair_id,
            Pair.label.label("pair_label"),
            Pair.construction,
            sa.func.coalesce(Wearer.name, Wearer.wearer_id).label("owner"),
            Wearer.phone,
            Wearer.wearer_id,
            BenchJob.received_on,
        )
        .select_from(_ORDERS)
        .join(Pair, _ORDERS.c.pair_pk == Pair.id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .outerjoin(BenchJob, job)
        .where(_ORDERS.c.stage.in_(OPEN_STAGES))
        .order_by(
            sa.func.coalesce(_ORDERS.c.promised_on, _ORDERS.c.expected_on).is_(None),
            sa.func.coalesce(_ORDERS.c.promised_on, _ORDERS.c.expected_on),
            _ORDERS.c.id,
        )
        .limit(limit)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def count_open(session: Session) -> int:
    """Count the orders not yet given back."""
    query = sa.select(sa.func.count()).select_from(_ORDERS)
    return int(session.execute(query.where(_ORDERS.c.stage.in_(OPEN_STAGES))).scalar_one())


def insert_order(session: Session, values: Mapping[str, Any]) -> int:
    """Write a new order with the shop's next ticket; return its number.

    Raises `Conflict` when its id is taken.
    """
    hold_key(session, "ticket")
    ticket = sa.select(sa.func.coalesce(sa.func.max(_ORDERS.c.ticket), 0) + 1).scalar_subquery()
    try:
        made = session.execute(sa.insert(_ORDERS).values(**values, ticket=ticket))
    except IntegrityError as cause:
        raise Conflict(
            f"An order {values['order_id']!r} is there already.",
            where="order_id",
            remedy="Leave order_id out, or choose another.",
        ) from cause
    return int(made.inserted_primary_key[0])  # type: ignore[attr-defined]


def change_order(session: Session, order_pk: int, version: int, values: Mapping[str, Any]) -> bool:
    """Change an order if it still has `version`; return whether it had."""
    query = sa.update(_ORDERS).where(_ORDERS.c.id == order_pk, _ORDERS.c.version == version)
    result = session.execute(query.values(**values, version=version + 1))
    return bool(result.rowcount)  # type: ignore[attr-defined]


def remove_order(session: Session, order_pk: int, version: int) -> bool:
    """Delete an order with its audit and papers if it still has `version`; return whether."""
    query = sa.delete(_ORDERS).where(_ORDERS.c.id == order_pk, _ORDERS.c.version == version)
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def add_event(session: Session, order_pk: int, **values: Any) -> None:
    """Write one line of the audit."""
    session.execute(sa.insert(_EVENTS).values(order_pk=order_pk, **values))


def events_of(session: Session, order_pk: int) -> list[dict[str, Any]]:
    """Return an order's audit, oldest first."""
    columns = [_EVENTS.c[n] for n in ("at", "from_stage", "to_stage", "worker", "details")]
    query = sa.select(*columns).where(_EVENTS.c.order_pk == order_pk).order_by(_EVENTS.c.id)
    return [dict(row) for row in session.execute(query).mappings()]


def filed_papers(session: Session, order_pk: int) -> dict[str, tuple[dict[str, Any], int]]:
    """Return an order's papers by kind, each with its version."""
    columns = (_PAPERS.c.kind, _PAPERS.c.payload, _PAPERS.c.version)
    query = sa.select(*columns).where(_PAPERS.c.order_pk == order_pk)
    return {row[0]: (row[1], row[2]) for row in session.execute(query.order_by(_PAPERS.c.kind))}


def papers_of(session: Session, order_pk: int) -> dict[str, dict[str, Any]]:
    """Return an order's papers by kind."""
    return {kind: payload for kind, (payload, _) in filed_papers(session, order_pk).items()}


def put_paper(session: Session, order_pk: int, kind: str, payload: dict[str, Any]) -> None:
    """Write a paper, or replace it; the caller has written what it was into the audit."""
    same = (_PAPERS.c.order_pk == order_pk) & (_PAPERS.c.kind == kind)
    there = session.execute(sa.select(_PAPERS.c.id).where(same)).scalar_one_or_none()
    if there is None:
        session.execute(sa.insert(_PAPERS).values(order_pk=order_pk, kind=kind, payload=payload))
    else:
        change = {"payload": payload, "version": _PAPERS.c.version + 1}
        session.execute(sa.update(_PAPERS).where(same).values(**change))


def open_jobs(session: Session, pair_pk: int) -> list[str]:
    """Return the ids of jobs of a pair that were received and not returned."""
    query = sa.select(BenchJob.job_id).where(
        BenchJob.pair_pk == pair_pk, BenchJob.returned_on.is_(None)
    )
    return list(session.execute(query.order_by(BenchJob.id)).scalars())


def add_photo(session: Session, values: Mapping[str, Any]) -> None:
    """Keep a photograph."""
    session.execute(sa.insert(_PHOTOS).values(**values))


def count_photos(session: Session, order_pk: int) -> int:
    """Count an order's photographs."""
    query = sa.select(sa.func.count()).where(_PHOTOS.c.order_pk == order_pk)
    return int(session.execute(query).scalar_one())


def photos_of(session: Session, order_pk: int) -> list[dict[str, Any]]:
    """Return `photo_id`, `media_type`, `caption` of an order's photographs."""
    columns = [_PHOTOS.c[n] for n in ("photo_id", "media_type", "caption")]
    query = sa.select(*columns).where(_PHOTOS.c.order_pk == order_pk).order_by(_PHOTOS.c.id)
    return [dict(row) for row in session.execute(query).mappings()]


def find_photo(session: Session, photo_id: str) -> tuple[str, bytes] | None:
    """Return a photograph's media type and bytes, or None."""
    query = sa.select(_PHOTOS.c.media_type, _PHOTOS.c.content)
    row = session.execute(query.where(_PHOTOS.c.photo_id == photo_id)).one_or_none()
    return None if row is None else (row[0], row[1])


def order_of_photo(session: Session, photo_id: str) -> tuple[str, str | None] | None:
    """Return the order a photograph is of, and its caption, or None."""
    query = sa.select(_ORDERS.c.order_id, _PHOTOS.c.caption).select_from(
        _PHOTOS.join(_ORDERS, _PHOTOS.c.order_pk == _ORDERS.c.id)
    )
    row = session.execute(query.where(_PHOTOS.c.photo_id == photo_id)).one_or_none()
    return None if row is None else (row[0], row[1])


def delete_photo(session: Session, photo_id: str) -> bool:
    """Take a photograph away; return whether it was there."""
    result = session.execute(sa.delete(_PHOTOS).where(_PHOTOS.c.photo_id == photo_id))
    return bool(result.rowcount)  # type: ignore[attr-defined]
