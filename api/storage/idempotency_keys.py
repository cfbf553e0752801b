"""Idempotency storage: which creates were answered already, and with what?"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError, OperationalError
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict
from solespan.api.storage.scope import UNNOTED, current_tenant
from solespan.api.storage.tables.results import IdempotencyKey

__all__ = [
    "AnsweredMeanwhile",
    "KeyHeld",
    "find_answer",
    "forget_answers_before",
    "hold_key",
    "keep_answer",
]

_KEYS: sa.Table = IdempotencyKey.__table__  # type: ignore[assignment]
LOCK_NOT_AVAILABLE = "55P03"  # error code of PostgreSQL
_HOLD = sa.select(sa.func.pg_advisory_xact_lock(sa.func.hashtextextended(sa.bindparam("name"), 0)))
_QUIETLY = {UNNOTED: True}  # the audit log is of records, not of what was answered


class AnsweredMeanwhile(Conflict):
    """Another process kept an answer under the same key first; read that one."""


class KeyHeld(Conflict):
    """Another process works on the same key, and did not end in time."""


def hold_key(session: Session, route: str, key: str) -> None:
    """Keep other processes off this key until the transaction ends.

    Two keys of one hash only wait for each other. On SQLite the writer has the database already.
    Raises `KeyHeld` when the other process did not end within the database's wait.
    """
    if session.get_bind().dialect.name != "postgresql":
        return
    name = f"{current_tenant()} {route} {key}"
    try:
        session.execute(_HOLD, {"name": name})
    except OperationalError as cause:
        if getattr(cause.orig, "sqlstate", None) != LOCK_NOT_AVAILABLE:
            raise
        raise KeyHeld("Another process still works on this key.") from cause


def find_answer(session: Session, route: str, key: str) -> dict[str, Any] | None:
    """Return `fingerprint`, `status_code`, `body` and `created_at` of an answered key, or None."""
    query = sa.select(
        _KEYS.c.fingerprint, _KEYS.c.status_code, _KEYS.c.body, _KEYS.c.created_at
    ).where(_KEYS.c.route == route, _KEYS.c.key == key)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def keep_answer(
    session: Session,
    *,
    route: str,
    key: str,
    fingerprint: str,
    status_code: int,
    body: Any,
    now: datetime,
) -> None:
    """Keep one answer. Raises `AnsweredMeanwhile` if another process answered this key."""
    values = {
        "route": route,
        "key": key,
        "fingerprint": fingerprint,
        "status_code": status_code,
        "body": body,
        "created_at": now,
    }
    try:
        session.execute(sa.insert(_KEYS).values(values), execution_options=_QUIETLY)
    except IntegrityError as cause:
        raise AnsweredMeanwhile("This key was answered by another process.") from cause


def forget_answers_before(session: Session, moment: datetime) -> None:
    """Delete the answers older than `moment`."""
    session.execute(sa.delete(_KEYS).where(_KEYS.c.created_at < moment), execution_options=_QUIETLY)
