"""Hook event storage: which events are written for whom, and where are they?

An event is written in the transaction of the change that it tells of. So nothing is told that did
not happen, and nothing that happened is left untold. Without an endpoint nothing is written.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from uuid import uuid4

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.bench import BenchOrder
from solespan.api.storage.tables.hooks import HookEndpoint, HookEvent
from solespan.api.storage.tables.rack import Pair, Wearer

__all__ = [
    "cancel_waiting",
    "defer_endpoint",
    "due_events",
    "forget_events_before",
    "is_wanted",
    "list_events",
    "mark_event",
    "next_due",
    "put_event",
    "put_order_event",
    "put_pair_event",
    "resend_event",
]

_EVENTS: sa.Table = HookEvent.__table__  # type: ignore[assignment]
_ENDPOINTS: sa.Table = HookEndpoint.__table__  # type: ignore[assignment]
_ORDERS: sa.Table = BenchOrder.__table__  # type: ignore[assignment]
_TOLD_OF_ORDER = (
    "order_id", "work", "stage", "expected_on", "promised_on", "by_post", "price_minor", "currency",
)  # fmt: skip


def _wanting(session: Session, kind: str) -> list[int]:
    query = sa.select(_ENDPOINTS.c.id, _ENDPOINTS.c.kinds).where(_ENDPOINTS.c.active)
    return [row.id for row in session.execute(query) if not row.kinds or kind in row.kinds]


def is_wanted(session: Session, kind: str) -> bool:
    """Whether anybody is to be told of such events."""
    return bool(_wanting(session, kind))


def put_event(
    session: Session, kind: str, wearer_pk: int, data: Mapping[str, Any], now: datetime
) -> None:
    """Write an event for every endpoint that wants its kind."""
    _write(session, _wanting(session, kind), kind, wearer_pk, data, now)


def _write(
    session: Session,
    endpoints: list[int],
    kind: str,
    wearer_pk: int,
    data: Mapping[str, Any],
    now: datetime,
) -> None:
    told = {k: v.isoformat() if isinstance(v, date) else v for k, v in data.items()}
    common = {"wearer_pk": wearer_pk, "kind": kind, "payload": told, "made_at": now}
    common |= {"begun_at": now, "next_try_at": now, "state": "pending", "attempts": 0}
    rows = [common | {"endpoint_pk": pk, "event_id": f"evt_{uuid4().hex}"} for pk in endpoints]
    if rows:
        session.execute(sa.insert(_EVENTS), rows)


def put_order_event(session: Session, kind: str, order_pk: int, now: datetime, **more: Any) -> None:
    """Write an event of an order as it is now."""
    endpoints = _wanting(session, kind)
    if not endpoints:
        return
    query = (
        sa.select(
            *(_ORDERS.c[name] for name in _TOLD_OF_ORDER),
            Pair.pair_id,
            Pair.wearer_pk,
            Wearer.wearer_id,
        )
        .join(Pair, _ORDERS.c.pair_pk == Pair.id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .where(_ORDERS.c.id == order_pk)
    )
    order = dict(session.execute(query).mappings().one())
    _write(session, endpoints, kind, order.pop("wearer_pk"), order | more, now)


def put_pair_event(
    session: Session, kind: str, pair_id: str, now: datetime, data: Mapping[str, Any]
) -> None:
    """Write an event of a pair."""
    endpoints = _wanting(session, kind)
    if not endpoints:
        return
    query = sa.select(Wearer.id, Wearer.wearer_id).join(Pair, Pair.wearer_pk == Wearer.id)
    wearer = session.execute(query.where(Pair.pair_id == pair_id)).one()
    told = {"pair_id": pair_id, "wearer_id": wearer.wearer_id, **data}
    _write(session, endpoints, kind, wearer.id, told, now)


def next_due(session: Session) -> datetime | None:
    """Return when the next event is to be sent; None = nothing waits."""
    query = sa.select(sa.func.min(_EVENTS.c.next_try_at)).where(_EVENTS.c.state == "pending")
    at: datetime | None = session.execute(query).scalar_one()
    return at


def due_events(session: Session, now: datetime, limit: int) -> list[dict[str, Any]]:
    """Return events to be sent now, with the address and the secrets as they are now."""
    names = ("endpoint_id", "url", "secret", "old_secret", "old_secret_until")
    query = (
        sa.select(_EVENTS, *(_ENDPOINTS.c[name] for name in names))
        .join(_ENDPOINTS, _EVENTS.c.endpoint_pk == _ENDPOINTS.c.id)
        .where(_EVENTS.c.state == "pending", _EVENTS.c.next_try_at <= now)
        .order_by(_EVENTS.c.next_try_at, _EVENTS.c.id)
        .limit(limit)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def mark_event(session: Session, pk: int, **values: Any) -> None:
    """Write what became of an event."""
    session.execute(sa.update(_EVENTS).where(_EVENTS.c.id == pk).values(**values))


def _waiting(endpoint_pk: int) -> sa.Update:
    of_endpoint = (_EVENTS.c.endpoint_pk == endpoint_pk) & (_EVENTS.c.state == "pending")
    return sa.update(_EVENTS).where(of_endpoint)


def defer_endpoint(session: Session, endpoint_pk: int, at: datetime) -> None:
    """Let nothing go to an endpoint before a moment: it did not answer just now."""
    session.execute(_waiting(endpoint_pk).where(_EVENTS.c.next_try_at < at).values(next_try_at=at))


def cancel_waiting(session: Session, endpoint_pk: int, why: str, now: datetime) -> None:
    """Stop what waits for an endpoint."""
    values = {"state": "cancelled", "problem": why, "done_at": now}
    session.execute(_waiting(endpoint_pk).values(values))


def list_events(
    session: Session,
    *,
    endpoint_id: str | None = None,
    state: str | None = None,
    below_id: int | None = None,
    limit: int,
) -> list[dict[str, Any]]:
    """Return events, newest first, from below a row number on."""
    names = ("id", "event_id", "kind", "payload", "made_at", "state", "attempts", "next_try_at",
             "problem", "done_at")  # fmt: skip
    query = (
        sa.select(*(_EVENTS.c[name] for name in names), _ENDPOINTS.c.endpoint_id, _ENDPOINTS.c.url)
        .join(_ENDPOINTS, _EVENTS.c.endpoint_pk == _ENDPOINTS.c.id)
        .order_by(_EVENTS.c.id.desc())
        .limit(limit)
    )
    if endpoint_id is not None:
        query = query.where(_ENDPOINTS.c.endpoint_id == endpoint_id)
    if state is not None:
        query = query.where(_EVENTS.c.state == state)
    if below_id is not None:
        query = query.where(_EVENTS.c.id < below_id)
    return [dict(row) for row in session.execute(query).mappings()]


def resend_event(session: Session, event_id: str, now: datetime) -> bool:
    """Let an event be sent once more under its identifier; return whether it is there."""
    query = sa.update(_EVENTS).where(_EVENTS.c.event_id == event_id)
    values = {"state": "pending", "attempts": 0, "begun_at": now, "next_try_at": now}
    result = session.execute(query.values(**values, problem=None, done_at=None))
    return bool(result.rowcount)  # type: ignore[attr-defined]


def forget_events_before(session: Session, moment: datetime) -> int:
    """Delete events that were done with before a moment; return how many."""
    query = sa.delete(_EVENTS).where(_EVENTS.c.done_at < moment, _EVENTS.c.state != "pending")
    return int(session.execute(query).rowcount)  # type: ignore[attr-defined]
