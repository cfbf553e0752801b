"""Passkey storage: which passkeys has a person, and which challenges wait for a signature?

A challenge and who holds it are kept as hashes; taking it deletes it. These tables stand outside
the tenants.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.accounts import Passkey, PasskeyChallenge

__all__ = [
    "add_challenge",
    "add_passkey",
    "find_passkey",
    "list_passkeys",
    "remove_passkeys",
    "take_challenge",
    "use_passkey",
]

_PASSKEYS: sa.Table = Passkey.__table__  # type: ignore[assignment]
_CHALLENGES: sa.Table = PasskeyChallenge.__table__  # type: ignore[assignment]


def add_challenge(
    session: Session, *, challenge_hash: str, holder_hash: str, now: datetime, keep_since: datetime
) -> None:
    """Keep a challenge for who holds it, and delete those that are older than `keep_since`."""
    session.execute(sa.delete(_CHALLENGES).where(_CHALLENGES.c.begun_at < keep_since))
    values = {"challenge_hash": challenge_hash, "holder_hash": holder_hash, "begun_at": now}
    session.execute(sa.insert(_CHALLENGES).values(values))


def take_challenge(
    session: Session, *, challenge_hash: str, holder_hash: str, begun_after: datetime
) -> bool:
    """Use a challenge up; return whether it was there for this holder."""
    taken = session.execute(
        sa.delete(_CHALLENGES).where(
            _CHALLENGES.c.challenge_hash == challenge_hash,
            _CHALLENGES.c.holder_hash == holder_hash,
            _CHALLENGES.c.begun_at >= begun_after,
        )
    )
    return bool(taken.rowcount)  # type: ignore[attr-defined]


def list_passkeys(session: Session, user_pk: int) -> list[dict[str, Any]]:
    """Return a person's passkeys, first made first."""
    query = sa.select(_PASSKEYS).where(_PASSKEYS.c.user_pk == user_pk).order_by(_PASSKEYS.c.id)
    return [dict(row) for row in session.execute(query).mappings()]


def find_passkey(session: Session, credential_id: str) -> dict[str, Any] | None:
    """Return the passkey that devices know by this id, or None."""
    query = sa.select(_PASSKEYS).where(_PASSKEYS.c.credential_id == credential_id)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def add_passkey(session: Session, values: dict[str, Any]) -> str | None:
    """Keep a new passkey; return its public id, None where one with its id is there."""
    hold_key(session, "passkey", values["credential_id"])
    if find_passkey(session, values["credential_id"]) is not None:
        return None
    passkey = Passkey(**values)
    session.add(passkey)
    session.flush()
    return passkey.passkey_id


def use_passkey(session: Session, passkey_pk: int, sign_count: int, now: datetime) -> bool:
    """Note that a passkey signed; return whether its count rose, or it counts nothing.

    Of two senders with one count the second finds it standing still: one of them is a copy.
    """
    counts = _PASSKEYS.c.sign_count
    rises = counts < sign_count if sign_count else counts == 0
    used = session.execute(
        sa.update(_PASSKEYS)
        .where(_PASSKEYS.c.id == passkey_pk, rises)
        .values(sign_count=sign_count, used_at=now)
    )
    return bool(used.rowcount)  # type: ignore[attr-defined]


def remove_passkeys(session: Session, user_pk: int, passkey_id: str | None = None) -> int:
    """Remove one passkey of a person, or all; return how many there were."""
    query = sa.delete(_PASSKEYS).where(_PASSKEYS.c.user_pk == user_pk)
    if passkey_id is not None:
        query = query.where(_PASSKEYS.c.passkey_id == passkey_id)
    return int(session.execute(query).rowcount)  # type: ignore[attr-defined]
