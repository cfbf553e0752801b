"""Accounts storage: which tenants and people are there, and how do people join, or lose, a tenant?

These tables stand outside the tenants (`api.storage.tables.accounts`), so each function names whose
rows it means.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.accounts import Invitation, Membership, Tenant, User

__all__ = [
    "Person",
    "add_person",
    "add_tenant",
    "find_person",
    "find_person_by_pk",
    "find_tenant",
    "join",
    "leave",
    "list_invitations",
    "list_members",
    "list_tenants",
    "put_invitation",
    "remove_invitation",
    "remove_person",
    "rename_tenant",
    "set_password",
    "sweep_invitations",
    "take_invitation",
    "tenants_of",
    "user_id_of",
    "withdraw_invitations",
]

_TENANTS: sa.Table = Tenant.__table__  # type: ignore[assignment]
_USERS: sa.Table = User.__table__  # type: ignore[assignment]
_MEMBERS: sa.Table = Membership.__table__  # type: ignore[assignment]
_INVITED: sa.Table = Invitation.__table__  # type: ignore[assignment]


@dataclass(frozen=True)
class Person:
    """Somebody who signs in."""

    user_pk: int
    user_id: str
    email: str
    password_hash: str
    disabled: bool


def list_tenants(session: Session) -> list[dict[str, Any]]:
    """Return `pk`, `tenant_id`, `name` and `kind` of every tenant, first made first."""
    query = sa.select(
        _TENANTS.c.id.label("pk"), _TENANTS.c.tenant_id, _TENANTS.c.name, _TENANTS.c.kind
    )
    return [dict(row) for row in session.execute(query.order_by(_TENANTS.c.id)).mappings()]


def find_tenant(session: Session, tenant_id: str) -> int | None:
    """Return the number of the tenant with this id, or None."""
    query = sa.select(_TENANTS.c.id).where(_TENANTS.c.tenant_id == tenant_id)
    return session.execute(query).scalar_one_or_none()


def add_tenant(session: Session, *, tenant_id: str, name: str, kind: str) -> int:
    """Write a new tenant; the caller has looked that its id is free. Returns its number."""
    tenant = Tenant(tenant_id=tenant_id, name=name, kind=kind)
    session.add(tenant)
    session.flush()
    return tenant.id


def rename_tenant(session: Session, tenant_pk: int, name: str) -> None:
    """Change what people call a tenant; its id stays."""
    session.execute(sa.update(_TENANTS).where(_TENANTS.c.id == tenant_pk).values(name=name))


def find_person(session: Session, email: str) -> Person | None:
    """Return the person with this e-mail address (in small letters), or None."""
    return _person(session, _USERS.c.email == email)


def find_person_by_pk(session: Session, user_pk: int) -> Person | None:
    """Return the person with this number, or None."""
    return _person(session, _USERS.c.id == user_pk)


def _person(session: Session, where: sa.ColumnElement[bool]) -> Person | None:
    query = sa.select(
        _USERS.c.id, _USERS.c.user_id, _USERS.c.email, _USERS.c.password_hash, _USERS.c.disabled_at
    ).where(where)
    row = session.execute(query).one_or_none()
    return None if row is None else Person(*row[:4], disabled=row[4] is not None)


def user_id_of(session: Session, user_pk: int) -> str:
    """Return the id by which people know a person."""
    query = sa.select(_USERS.c.user_id).where(_USERS.c.id == user_pk)
    return str(session.execute(query).scalar_one())


def add_person(session: Session, *, email: str, password_hash: str) -> int:
    """Write a new person. Returns their number."""
    person = User(email=email, password_hash=password_hash)
    session.add(person)
    session.flush()
    return person.id


def set_password(session: Session, user_pk: int, password_hash: str) -> None:
    """Put a new password hash in the old one's place."""
    session.execute(
        sa.update(_USERS).where(_USERS.c.id == user_pk).values(password_hash=password_hash)
    )


def tenants_of(session: Session, user_pk: int) -> list[dict[str, Any]]:
    """Return `pk`, `tenant_id`, `name` and the person's `role`, for each of their tenants."""
    query = (
        sa.select(_TENANTS.c.id.label("pk"), _TENANTS.c.tenant_id, _TENANTS.c.name, _MEMBERS.c.role)
        .join(_MEMBERS, _MEMBERS.c.tenant_pk == _TENANTS.c.id)
        .where(_MEMBERS.c.user_pk == user_pk)
        .order_by(_TENANTS.c.id)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def list_members(session: Session, tenant_pk: int, *, lock: bool = False) -> list[dict[str, Any]]:
    """Return `user_pk`, `user_id`, `email` and `role` of a tenant's members, by address.

    With `lock` nobody else changes who is a member until the transaction ends.
    """
    query = (
        sa.select(_USERS.c.id.label("user_pk"), _USERS.c.user_id, _USERS.c.email, _MEMBERS.c.role)
        .join(_MEMBERS, _MEMBERS.c.user_pk == _USERS.c.id)
        .where(_MEMBERS.c.tenant_pk == tenant_pk)
        .order_by(_USERS.c.email)
    )
    if lock:  # SQLite has one writer anyway
        query = query.with_for_update(of=_MEMBERS)
    return [dict(row) for row in session.execute(query).mappings()]


def join(session: Session, *, user_pk: int, tenant_pk: int, role: str) -> None:
    """Make a person a member, or change what they may do."""
    hold_key(session, "member", tenant_pk, user_pk)
    leave(session, user_pk=user_pk, tenant_pk=tenant_pk)
    session.execute(sa.insert(_MEMBERS).values(user_pk=user_pk, tenant_pk=tenant_pk, role=role))


def leave(session: Session, *, user_pk: int, tenant_pk: int) -> bool:
    """End a membership; return whether there was one."""
    query = sa.delete(_MEMBERS).where(
        _MEMBERS.c.user_pk == user_pk, _MEMBERS.c.tenant_pk == tenant_pk
    )
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def remove_person(session: Session, user_pk: int) -> None:
    """Delete a person, with whatever they hold anywhere."""
    session.execute(sa.delete(_USERS).where(_USERS.c.id == user_pk))


def put_invitation(
    session: Session,
    *,
    tenant_pk: int,
    email: str,
    role: str | None,
    secret_hash: str,
    expires_at: datetime,
    new_password: bool,
) -> None:
    """Keep an invitation in the place of an older one to the same address."""
    hold_key(session, "invitation", tenant_pk, email)
    withdraw_invitations(session, tenant_pk, email)
    session.execute(
        sa.insert(_INVITED).values(
            tenant_pk=tenant_pk,
            email=email,
            role=role,
            secret_hash=secret_hash,
            expires_at=expires_at,
            new_password=new_password,
        )
    )


def list_invitations(session: Session, tenant_pk: int, now: datetime) -> list[dict[str, Any]]:
    """Return `invitation_id`, `email`, `role` and `expires_at` of those still open, by address."""
    role = sa.func.coalesce(_INVITED.c.role, _MEMBERS.c.role).label("role")
    query = (
        sa.select(_INVITED.c.invitation_id, _INVITED.c.email, role, _INVITED.c.expires_at)
        .outerjoin(_USERS, _USERS.c.email == _INVITED.c.email)
        .outerjoin(
            _MEMBERS,
            (_MEMBERS.c.user_pk == _USERS.c.id) & (_MEMBERS.c.tenant_pk == _INVITED.c.tenant_pk),
        )
        .where(_INVITED.c.tenant_pk == tenant_pk, _INVITED.c.expires_at > now)
    )
    return [dict(row) for row in session.execute(query.order_by(_INVITED.c.email)).mappings()]


def withdraw_invitations(session: Session, tenant_pk: int, email: str) -> None:
    """End what is open for an address."""
    session.execute(
        sa.delete(_INVITED).where(_INVITED.c.tenant_pk == tenant_pk, _INVITED.c.email == email)
    )


def remove_invitation(session: Session, tenant_pk: int, invitation_id: str) -> bool:
    """Withdraw an invitation; return whether the tenant had one of this id."""
    query = sa.delete(_INVITED).where(
        _INVITED.c.tenant_pk == tenant_pk, _INVITED.c.invitation_id == invitation_id
    )
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def sweep_invitations(session: Session, before: datetime) -> None:
    """Delete the invitations that ended before that moment, and the addresses in them."""
    session.execute(sa.delete(_INVITED).where(_INVITED.c.expires_at < before))


def take_invitation(
    session: Session, secret_hash: str, now: datetime, *, keep: bool = False
) -> dict[str, Any] | None:
    """Return `tenant_pk`, `email`, `role` and `new_password`, and end it; None if it is over."""
    query = sa.select(
        _INVITED.c.id,
        _INVITED.c.tenant_pk,
        _INVITED.c.email,
        _INVITED.c.role,
        _INVITED.c.new_password,
    ).where(_INVITED.c.secret_hash == secret_hash, _INVITED.c.expires_at > now)
    found = session.execute(query).mappings().one_or_none()
    if found is None:
        return None
    if not keep:
        ended = session.execute(sa.delete(_INVITED).where(_INVITED.c.id == found["id"]))
        if not ended.rowcount:  # type: ignore[attr-defined]
            return None  # somebody else used it meanwhile
    return dict(found)
