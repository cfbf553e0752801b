"""Reminder storage: who wishes reminders, on which devices, and which messages are on their way?"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import uuid4

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.rack import Wearer
from solespan.api.storage.tables.reminders import PushDevice, Reminder, ReminderMessage

__all__ = [
    "add_message",
    "due_messages",
    "due_reminders",
    "find_reminder",
    "forget_push",
    "forget_reminder",
    "keep_push",
    "keep_reminder",
    "last_message",
    "list_push",
    "mark_message",
    "next_due",
    "note_look",
]

KEPT_MESSAGES = 10
_REMINDERS: sa.Table = Reminder.__table__  # type: ignore[assignment]
_PUSH: sa.Table = PushDevice.__table__  # type: ignore[assignment]
_MESSAGES: sa.Table = ReminderMessage.__table__  # type: ignore[assignment]


def find_reminder(session: Session, wearer_pk: int) -> dict[str, Any] | None:
    """Return what a wearer wishes, or None."""
    query = sa.select(_REMINDERS).where(_REMINDERS.c.wearer_pk == wearer_pk)
    row = session.execute(query).mappings().one_or_none()
    return dict(row) if row else None


def keep_reminder(session: Session, wearer_pk: int, values: Mapping[str, Any]) -> None:
    """Put a wearer's wishes in the place of the old ones; what was told stays."""
    hold_key(session, "reminder", wearer_pk)
    row = session.scalar(sa.select(Reminder).where(Reminder.wearer_pk == wearer_pk))
    if row is None:
        session.add(Reminder(wearer_pk=wearer_pk, told=[], **values))
    else:
        for name, value in values.items():
            setattr(row, name, value)
    session.flush()


def forget_reminder(session: Session, wearer_pk: int) -> bool:
    """End a wearer's reminders, devices and waiting messages; return whether there were any."""
    for table in (_MESSAGES, _PUSH):
        session.execute(sa.delete(table).where(table.c.wearer_pk == wearer_pk))
    gone = sa.delete(_REMINDERS).where(_REMINDERS.c.wearer_pk == wearer_pk)
    return bool(session.execute(gone).rowcount)  # type: ignore[attr-defined]


def note_look(session: Session, wearer_pk: int, at: datetime, told: Sequence[str] | None) -> None:
    """Note when to look again; `told` is what a reminder said just now."""
    values: dict[str, Any] = {"next_look_at": at} | ({} if told is None else {"told": list(told)})
    mine = _REMINDERS.c.wearer_pk == wearer_pk
    session.execute(sa.update(_REMINDERS).where(mine).values(**values))


def due_reminders(session: Session, now: datetime, limit: int) -> list[dict[str, Any]]:
    """Return wishes that are to be looked at, with their wearer's id and time zone."""
    query = (
        sa.select(_REMINDERS, Wearer.wearer_id, Wearer.time_zone)
        .join(Wearer, Wearer.id == _REMINDERS.c.wearer_pk)
        .where(_REMINDERS.c.next_look_at <= now)
        .order_by(_REMINDERS.c.next_look_at, _REMINDERS.c.id)
        .limit(limit)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def next_due(session: Session) -> datetime | None:
    """Return when a wish is to be looked at, or a message to be sent; None = never."""
    look = sa.select(sa.func.min(_REMINDERS.c.next_look_at)).scalar_subquery()
    send = sa.select(sa.func.min(_MESSAGES.c.next_try_at))
    send_at = send.where(_MESSAGES.c.state == "pending").scalar_subquery()
    return min(filter(None, session.execute(sa.select(look, send_at)).one()), default=None)


def keep_push(session: Session, wearer_pk: int, values: Mapping[str, Any]) -> None:
    """Let a browser take push messages; the same one again gets its new keys."""
    digest = hashlib.sha256(str(values["endpoint"]).encode()).hexdigest()
    hold_key(session, "push", wearer_pk, digest)
    same = (_PUSH.c.wearer_pk == wearer_pk) & (_PUSH.c.endpoint_hash == digest)
    changed = session.execute(sa.update(_PUSH).where(same).values(**values))
    if not changed.rowcount:  # type: ignore[attr-defined]
        session.add(
            PushDevice(push_id=uuid4().hex, wearer_pk=wearer_pk, endpoint_hash=digest, **values)
        )
        session.flush()


def list_push(session: Session, wearer_pk: int) -> list[dict[str, Any]]:
    """Return the browsers of a wearer that take push messages."""
    query = sa.select(_PUSH).where(_PUSH.c.wearer_pk == wearer_pk).order_by(_PUSH.c.id)
    return [dict(row) for row in session.execute(query).mappings()]


def forget_push(session: Session, push_id: str) -> bool:
    """Let a browser take no more push messages; return whether it did."""
    gone = sa.delete(_PUSH).where(_PUSH.c.push_id == push_id)
    return bool(session.execute(gone).rowcount)  # type: ignore[attr-defined]


def add_message(
    session: Session, wearer_pk: int, push_pk: int | None, payload: dict[str, Any], now: datetime
) -> None:
    """Put a message on its way."""
    session.add(
        ReminderMessage(
            wearer_pk=wearer_pk,
            push_pk=push_pk,
            message_id=uuid4().hex,
            payload=payload,
            made_at=now,
            state="pending",
            attempts=0,
            next_try_at=now,
        )
    )
    session.flush()
    old = sa.select(_MESSAGES.c.id).where(_MESSAGES.c.wearer_pk == wearer_pk)
    old = old.order_by(_MESSAGES.c.id.desc()).offset(KEPT_MESSAGES)
    beyond = list(session.scalars(old))
    if beyond:
        session.execute(sa.delete(_MESSAGES).where(_MESSAGES.c.id.in_(beyond)))


def due_messages(session: Session, now: datetime, limit: int) -> list[dict[str, Any]]:
    """Return messages to be sent now, with all that sending them needs."""
    query = (
        sa.select(
            _MESSAGES,
            Wearer.name,
            Wearer.wearer_id,
            _REMINDERS.c.address,
            _PUSH.c.push_id,
            _PUSH.c.endpoint,
            _PUSH.c.p256dh,
            _PUSH.c.auth,
        )
        .join(Wearer, Wearer.id == _MESSAGES.c.wearer_pk)
        .outerjoin(_REMINDERS, _REMINDERS.c.wearer_pk == _MESSAGES.c.wearer_pk)
        .outerjoin(_PUSH, _PUSH.c.id == _MESSAGES.c.push_pk)
        .where(_MESSAGES.c.state == "pending", _MESSAGES.c.next_try_at <= now)
        .order_by(_MESSAGES.c.next_try_at, _MESSAGES.c.id)
        .limit(limit)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def mark_message(session: Session, pk: int, **values: Any) -> None:
    """Write what became of a message."""
    session.execute(sa.update(_MESSAGES).where(_MESSAGES.c.id == pk).values(**values))


def last_message(session: Session, wearer_pk: int) -> dict[str, Any] | None:
    """Return a wearer's newest message, or None."""
    query = sa.select(_MESSAGES).where(_MESSAGES.c.wearer_pk == wearer_pk)
    row = session.execute(query.order_by(_MESSAGES.c.id.desc()).limit(1)).mappings().one_or_none()
    return dict(row) if row else None
