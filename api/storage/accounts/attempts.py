"""Attempt storage: how often did a key fail lately, and which devices does a person sign in with?

A key is a hash of what is limited: an account, a network address, a device. These tables stand
outside the tenants.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from solespan.api.storage.tables.accounts import KnownDevice, SignInTry, User

__all__ = [
    "clear_tries",
    "count_tries",
    "is_known_device",
    "lock_tries",
    "note_device",
    "sweep_attempts",
    "take_back_tries",
    "tries_of",
]

_TRIES: sa.Table = SignInTry.__table__  # type: ignore[assignment]
_DEVICES: sa.Table = KnownDevice.__table__  # type: ignore[assignment]
_USERS: sa.Table = User.__table__  # type: ignore[assignment]


def _insert(session: Session, table: sa.Table) -> Any:
    postgres = session.get_bind().dialect.name == "postgresql"
    return (postgresql.insert if postgres else sqlite.insert)(table)


def tries_of(
    session: Session, keys: Collection[str], *, lock: bool = False
) -> dict[str, tuple[int, datetime]]:
    """Return how often each key was tried in a row, and when last; a key without is left out."""
    query = sa.select(_TRIES.c.key_hash, _TRIES.c.failures, _TRIES.c.last_at)
    query = query.where(_TRIES.c.key_hash.in_(keys)).order_by(_TRIES.c.key_hash)
    rows = session.execute(query.with_for_update() if lock else query)
    return {row[0]: (row[1], row[2]) for row in rows}


def lock_tries(
    session: Session, keys: Collection[str], now: datetime
) -> dict[str, tuple[int, datetime]]:
    """Return the same of every key, and let nobody else count them until the transaction ends."""
    for key in sorted(keys):  # in one order, so that two senders never wait for each other
        given = {"key_hash": key, "failures": 0, "last_at": now}
        session.execute(_insert(session, _TRIES).values(given).on_conflict_do_nothing())
    return tries_of(session, keys, lock=True)


def count_tries(session: Session, keys: Collection[str], now: datetime) -> None:
    """Count one more try of each key; they were locked before."""
    session.execute(
        sa.update(_TRIES)
        .where(_TRIES.c.key_hash.in_(keys))
        .values(failures=_TRIES.c.failures + 1, last_at=now)
    )


def take_back_tries(session: Session, keys: Collection[str]) -> None:
    """Count one try less of each key: it was no failure."""
    session.execute(
        sa.update(_TRIES)
        .where(_TRIES.c.key_hash.in_(keys), _TRIES.c.failures > 0)
        .values(failures=_TRIES.c.failures - 1)
    )


def clear_tries(session: Session, keys: Collection[str]) -> None:
    """Forget the failures of these keys."""
    session.execute(sa.delete(_TRIES).where(_TRIES.c.key_hash.in_(keys)))


def is_known_device(session: Session, device_hash: str, email: str | None = None) -> bool:
    """Return whether a person, or with no `email` anybody, signed in with this device before."""
    query = sa.select(_DEVICES.c.id).where(_DEVICES.c.device_hash == device_hash)
    if email is not None:
        query = query.join(_USERS, _USERS.c.id == _DEVICES.c.user_pk).where(_USERS.c.email == email)
    return session.execute(query.limit(1)).first() is not None


def note_device(session: Session, device_hash: str, user_pk: int, now: datetime) -> None:
    """Remember that a person signed in with this device."""
    given = {"device_hash": device_hash, "user_pk": user_pk, "seen_at": now}
    session.execute(
        _insert(session, _DEVICES)
        .values(given)
        .on_conflict_do_update(
            index_elements=[_DEVICES.c.device_hash, _DEVICES.c.user_pk], set_={"seen_at": now}
        )
    )


def sweep_attempts(session: Session, *, tries_before: datetime, devices_before: datetime) -> None:
    """Delete failures and devices that are too old to matter."""
    session.execute(sa.delete(_TRIES).where(_TRIES.c.last_at < tries_before))
    session.execute(sa.delete(_DEVICES).where(_DEVICES.c.seen_at < devices_before))
