"""Booking message storage: what is a customer to be told of a booked day, and what was sent?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.bench import BenchOrder
from solespan.api.storage.tables.bookings import BookingMessage
from solespan.api.storage.tables.rack import Pair, Wearer

__all__ = [
    "WAITING",
    "add_message",
    "booked_order",
    "cancel_waiting",
    "due_messages",
    "mark_message",
    "messages_of",
    "newest_message_id",
    "next_due",
    "order_of_message",
    "untold_changes",
]

_MESSAGES: sa.Table = BookingMessage.__table__  # type: ignore[assignment]
_ORDERS: sa.Table = BenchOrder.__table__  # type: ignore[assignment]
_LATER: sa.TableClause = _MESSAGES.alias("later")  # type: ignore[assignment]
WAITING = ("booked", "in_post")  # stages in which the day is still to come


def booked_order(session: Session, order_pk: int) -> dict[str, Any]:
    """Return what a message says of an order: its pair, its owner and the owner's address."""
    query = (
        sa.select(
            *(
                _ORDERS.c[n]
                for n in ("id", "order_id", "work", "more_works", "stage", "expected_on", "by_post")
            ),
            Pair.pair_id,
            Pair.label,
            Pair.wearer_pk,
            Wearer.wearer_id,
            Wearer.name,
            Wearer.email,
            Wearer.language,
            Wearer.time_zone,
        )
        .join(Pair, _ORDERS.c.pair_pk == Pair.id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .where(_ORDERS.c.id == order_pk)
    )
    return dict(session.execute(query).mappings().one())


def add_message(session: Session, values: Mapping[str, Any]) -> None:
    """Put a message on its way."""
    session.add(BookingMessage(attempts=0, **values))
    session.flush()


def messages_of(session: Session, order_id: str) -> list[dict[str, Any]]:
    """Return an order's messages, oldest first, also those from before it was restored."""
    query = sa.select(_MESSAGES).where(_MESSAGES.c.order_id == order_id)
    return [dict(row) for row in session.execute(query.order_by(_MESSAGES.c.id)).mappings()]


def cancel_waiting(session: Session, order_id: str, why: str) -> None:
    """Stop an order's messages that were not sent."""
    query = sa.update(_MESSAGES).where(
        _MESSAGES.c.order_id == order_id, _MESSAGES.c.state == "pending"
    )
    session.execute(query.values(state="cancelled", problem=why))


def newest_message_id(session: Session, order_id: str) -> str | None:
    """Return the identifier that a link to an order names, or None."""
    query = (
        sa.select(_MESSAGES.c.message_id)
        .where(_MESSAGES.c.order_id == order_id)
        .order_by(_MESSAGES.c.id.desc())
        .limit(1)
    )
    return session.execute(query).scalar_one_or_none()


def order_of_message(session: Session, message_id: str) -> int | None:
    """Return the number of the order that a message is about, or None."""
    query = (
        sa.select(_ORDERS.c.id)
        .join(_MESSAGES, _same_order())
        .where(_MESSAGES.c.message_id == message_id)
    )
    return session.execute(query).scalar_one_or_none()


def untold_changes(session: Session) -> list[dict[str, Any]]:
    """Return bookings that are not what their calendars were told, by an undone change say.

    `order_id`, `order_pk` (None = the order is gone) and `made_at` of what was told last.
    """
    newest = ~sa.exists().where(
        _LATER.c.tenant_pk == _MESSAGES.c.tenant_pk,
        _LATER.c.order_id == _MESSAGES.c.order_id,
        _LATER.c.kind != "reminder",
        _LATER.c.id > _MESSAGES.c.id,
    )
    asked, day = _MESSAGES.c.kind == "request", _ORDERS.c.expected_on
    columns = (_MESSAGES.c.order_id, _ORDERS.c.id.label("order_pk"), _MESSAGES.c.made_at)
    gone = (
        sa.select(*columns)
        .outerjoin(_ORDERS, _same_order())
        .where(_MESSAGES.c.order_pk.is_(None), asked, _ORDERS.c.id.is_(None), newest)
    )
    other = (
        sa.select(*columns)
        .join(_ORDERS, _same_order())
        .where(
            _ORDERS.c.stage.in_(WAITING),
            (asked & (day.is_(None) | (day != _MESSAGES.c.day)))
            | ((_MESSAGES.c.kind == "cancel") & day.is_not(None)),
            newest,
        )
    )
    return [
        dict(row)
        for query in (gone, other)
        for row in session.execute(query.order_by(_MESSAGES.c.id)).mappings()
    ]


def _same_order() -> sa.ColumnElement[bool]:
    return (_MESSAGES.c.order_id == _ORDERS.c.order_id) & (
        _MESSAGES.c.tenant_pk == _ORDERS.c.tenant_pk
    )


def next_due(session: Session) -> datetime | None:
    """Return when the next message is to be sent or written; None = nothing waits."""
    query = sa.select(sa.func.min(_MESSAGES.c.next_try_at)).where(_MESSAGES.c.state == "pending")
    at: datetime | None = session.execute(query).scalar_one()
    moments = [at, *(change["made_at"] for change in untold_changes(session))]
    return min((moment for moment in moments if moment is not None), default=None)


def due_messages(session: Session, now: datetime, limit: int) -> list[dict[str, Any]]:
    """Return messages to be sent now, with the order and the address as they are now.

    A cancellation goes to whom the request went; the others go to whose pair it is.
    """
    told = _MESSAGES.c.wearer_pk
    reader = sa.case(
        (_MESSAGES.c.kind == "cancel", told), else_=sa.func.coalesce(Pair.wearer_pk, told)
    )
    query = (
        sa.select(
            _MESSAGES,
            _ORDERS.c.stage,
            _ORDERS.c.expected_on,
            Wearer.wearer_id,
            Wearer.name,
            Wearer.email,
            Wearer.language,
        )
        .outerjoin(_ORDERS, _same_order())
        .outerjoin(Pair, _ORDERS.c.pair_pk == Pair.id)
        .join(Wearer, Wearer.id == reader)
        .where(_MESSAGES.c.state == "pending", _MESSAGES.c.next_try_at <= now)
        .order_by(_MESSAGES.c.next_try_at, _MESSAGES.c.id)
        .limit(limit)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def mark_message(session: Session, pk: int, **values: Any) -> None:
    """Write what became of a message."""
    session.execute(sa.update(_MESSAGES).where(_MESSAGES.c.id == pk).values(**values))
