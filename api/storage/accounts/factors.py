"""Second factor storage: which authenticators and recovery codes has a person, and who needs one?

A recovery code is kept as its hash, and goes with its use. The seed of an authenticator must be
kept as it is, since each code is computed from it. These tables stand outside the tenants.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.accounts import (
    Membership,
    Passkey,
    RecoveryCode,
    SecondFactor,
    SignInStep,
    Tenant,
)

__all__ = [
    "add_factor",
    "begin_step",
    "end_step",
    "find_step",
    "has_factor",
    "has_factor_of",
    "list_factors",
    "policy_of",
    "put_policy",
    "put_recovery_codes",
    "recovery_codes_left",
    "remove_factors",
    "sweep_steps",
    "use_moment",
    "use_recovery_code",
    "who_has_factor",
]

_FACTORS: sa.Table = SecondFactor.__table__  # type: ignore[assignment]
_PASSKEYS: sa.Table = Passkey.__table__  # type: ignore[assignment]
_CODES: sa.Table = RecoveryCode.__table__  # type: ignore[assignment]
_STEPS: sa.Table = SignInStep.__table__  # type: ignore[assignment]
_TENANTS: sa.Table = Tenant.__table__  # type: ignore[assignment]
_MEMBERS: sa.Table = Membership.__table__  # type: ignore[assignment]
_KINDS = (_FACTORS, _PASSKEYS)


def list_factors(session: Session, user_pk: int) -> list[dict[str, Any]]:
    """Return a person's authenticators with their seeds, first made first."""
    query = sa.select(_FACTORS).where(_FACTORS.c.user_pk == user_pk).order_by(_FACTORS.c.id)
    return [dict(row) for row in session.execute(query).mappings()]


def has_factor(session: Session, user_pk: int) -> bool:
    """Return whether a person has an authenticator or a passkey."""
    return bool(session.scalar(sa.select(has_factor_of(sa.literal(user_pk)))))


def has_factor_of(user_pk: sa.ColumnElement[Any]) -> sa.ColumnElement[bool]:
    """Return the condition that the person of a statement has an authenticator or a passkey."""
    return sa.or_(*(sa.exists().where(table.c.user_pk == user_pk) for table in _KINDS))


def who_has_factor(session: Session, tenant_pk: int) -> frozenset[int]:
    """Return the numbers of a tenant's members who have an authenticator or a passkey."""
    query = sa.select(_MEMBERS.c.user_pk).where(
        _MEMBERS.c.tenant_pk == tenant_pk, has_factor_of(_MEMBERS.c.user_pk)
    )
    return frozenset(session.scalars(query))


def add_factor(
    session: Session, *, user_pk: int, name: str, seed: str, moment: int, now: datetime
) -> str:
    """Keep a new authenticator, whose code of a moment was used; return its public id."""
    factor = SecondFactor(user_pk=user_pk, name=name, seed=seed, moment=moment, made_at=now)
    session.add(factor)
    session.flush()
    return factor.factor_id


def use_moment(session: Session, factor_pk: int, moment: int, now: datetime) -> bool:
    """Use the code of a moment; return whether none of that moment, or later, was used before."""
    used = session.execute(
        sa.update(_FACTORS)
        .where(_FACTORS.c.id == factor_pk, _FACTORS.c.moment < moment)
        .values(moment=moment, used_at=now)
    )
    return bool(used.rowcount)  # type: ignore[attr-defined]


def remove_factors(session: Session, user_pk: int, factor_id: str | None = None) -> int:
    """Remove one authenticator of a person, or all; return how many there were."""
    query = sa.delete(_FACTORS).where(_FACTORS.c.user_pk == user_pk)
    if factor_id is not None:
        query = query.where(_FACTORS.c.factor_id == factor_id)
    return int(session.execute(query).rowcount)  # type: ignore[attr-defined]


def put_recovery_codes(session: Session, user_pk: int, hashes: Collection[str]) -> None:
    """Keep recovery codes in the place of the ones before."""
    session.execute(sa.delete(_CODES).where(_CODES.c.user_pk == user_pk))
    if hashes:
        rows = [{"user_pk": user_pk, "code_hash": code_hash} for code_hash in hashes]
        session.execute(sa.insert(_CODES), rows)


def recovery_codes_left(session: Session, user_pk: int) -> int:
    """Return how many recovery codes are unused."""
    query = sa.select(sa.func.count()).where(_CODES.c.user_pk == user_pk)
    return session.execute(query).scalar_one()


def use_recovery_code(session: Session, user_pk: int, code_hash: str) -> bool:
    """Use a recovery code; return whether it was there."""
    query = sa.delete(_CODES).where(_CODES.c.user_pk == user_pk, _CODES.c.code_hash == code_hash)
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def begin_step(
    session: Session, *, token_hash: str, user_pk: int, purpose: str, seed: str, now: datetime
) -> None:
    """Keep that a person gave their password, and what must follow."""
    session.execute(
        sa.insert(_STEPS).values(
            token_hash=token_hash, user_pk=user_pk, purpose=purpose, seed=seed, begun_at=now
        )
    )


def find_step(
    session: Session, token_hash: str, *, purpose: str, begun_after: datetime
) -> dict[str, Any] | None:
    """Return `user_pk` and `seed` of what must follow, or None."""
    query = sa.select(_STEPS.c.user_pk, _STEPS.c.seed).where(
        _STEPS.c.token_hash == token_hash,
        _STEPS.c.purpose == purpose,
        _STEPS.c.begun_at >= begun_after,
    )
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def end_step(session: Session, token_hash: str) -> bool:
    """End what had to follow; return whether it was there."""
    ended = session.execute(sa.delete(_STEPS).where(_STEPS.c.token_hash == token_hash))
    return bool(ended.rowcount)  # type: ignore[attr-defined]


def sweep_steps(session: Session, before: datetime) -> None:
    """Delete what did not follow in time."""
    session.execute(sa.delete(_STEPS).where(_STEPS.c.begun_at < before))


def policy_of(session: Session, tenant_pk: int) -> str:
    """Return who of a tenant must have a second factor."""
    query = sa.select(_TENANTS.c.second_factor).where(_TENANTS.c.id == tenant_pk)
    return str(session.execute(query).scalar_one())


def put_policy(session: Session, tenant_pk: int, word: str) -> None:
    """Say who of a tenant must have a second factor."""
    query = sa.update(_TENANTS).where(_TENANTS.c.id == tenant_pk)
    session.execute(query.values(second_factor=word))
