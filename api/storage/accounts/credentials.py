"""Credential storage.

Who holds which key: browser sessions, API tokens and customers' links?

Only hashes of keys are kept. These tables stand outside the tenants, as a tenant is found by them.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.accounts.factors import has_factor_of
from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.accounts import (
    ApiToken,
    BrowserSession,
    Membership,
    PersonalLink,
    Tenant,
    User,
)

__all__ = [
    "add_session",
    "add_token",
    "end_session",
    "end_sessions",
    "end_tokens_named",
    "end_tokens_of",
    "find_link",
    "find_session",
    "find_token",
    "list_sessions",
    "list_tokens",
    "put_link",
    "remove_link",
    "revoke_token",
    "sweep_sessions",
    "touch",
]

_SESSIONS: sa.Table = BrowserSession.__table__  # type: ignore[assignment]
_TOKENS: sa.Table = ApiToken.__table__  # type: ignore[assignment]
_LINKS: sa.Table = PersonalLink.__table__  # type: ignore[assignment]
_USERS: sa.Table = User.__table__  # type: ignore[assignment]
_TENANTS: sa.Table = Tenant.__table__  # type: ignore[assignment]
_MEMBERS: sa.Table = Membership.__table__  # type: ignore[assignment]
_TOUCHED = {"session": _SESSIONS, "token": _TOKENS, "link": _LINKS}


def add_session(
    session: Session,
    *,
    token_hash: str,
    tenant_pk: int,
    now: datetime,
    user_pk: int | None = None,
    link_pk: int | None = None,
    device: str = "",
) -> None:
    """Let a browser in: a member's, or a customer's by their link; `device` is what it is."""
    session.execute(
        sa.insert(_SESSIONS).values(
            token_hash=token_hash,
            user_pk=user_pk,
            link_pk=link_pk,
            tenant_pk=tenant_pk,
            device=device,
            begun_at=now,
            used_at=now,
        )
    )


def find_session(session: Session, token_hash: str) -> dict[str, Any] | None:
    """Return a session with whose it is now; None where nobody may use it any more.

    `role` is the member's, None for a customer, whose `wearer_pk` is given instead.
    """
    query = (
        sa.select(
            _SESSIONS.c.id.label("pk"),
            _SESSIONS.c.tenant_pk,
            _SESSIONS.c.user_pk,
            _SESSIONS.c.begun_at,
            _SESSIONS.c.used_at,
            _USERS.c.email,
            _USERS.c.user_id,
            _MEMBERS.c.role,
            _TENANTS.c.second_factor,
            _TENANTS.c.kind,
            has_factor_of(_SESSIONS.c.user_pk).label("has_factor"),
            _LINKS.c.wearer_pk,
        )
        .select_from(_SESSIONS)
        .join(_TENANTS, _TENANTS.c.id == _SESSIONS.c.tenant_pk)
        .outerjoin(_USERS, (_USERS.c.id == _SESSIONS.c.user_pk) & _USERS.c.disabled_at.is_(None))
        .outerjoin(
            _MEMBERS,
            (_MEMBERS.c.user_pk == _USERS.c.id) & (_MEMBERS.c.tenant_pk == _SESSIONS.c.tenant_pk),
        )
        .outerjoin(_LINKS, _LINKS.c.id == _SESSIONS.c.link_pk)
        .where(_SESSIONS.c.token_hash == token_hash)
    )
    row = session.execute(query).mappings().one_or_none()
    if row is None or (row["role"] is None and row["wearer_pk"] is None):
        return None
    return dict(row)


def touch(session: Session, kind: str, pk: int, now: datetime) -> None:
    """Note that a session, token or link was used."""
    table = _TOUCHED[kind]
    session.execute(sa.update(table).where(table.c.id == pk).values(used_at=now))


def end_session(session: Session, token_hash: str) -> None:
    """Let this browser in no more."""
    session.execute(sa.delete(_SESSIONS).where(_SESSIONS.c.token_hash == token_hash))


def end_sessions(
    session: Session,
    user_pk: int,
    tenant_pk: int | None = None,
    *,
    session_id: str | None = None,
    but_pk: int | None = None,
) -> int:
    """Let none of a person's browsers in any more; return how many there were.

    In one tenant or anywhere; only `session_id`, or all but the one with the number `but_pk`.
    """
    query = sa.delete(_SESSIONS).where(_SESSIONS.c.user_pk == user_pk)
    if tenant_pk is not None:
        query = query.where(_SESSIONS.c.tenant_pk == tenant_pk)
    if session_id is not None:
        query = query.where(_SESSIONS.c.session_id == session_id)
    if but_pk is not None:
        query = query.where(_SESSIONS.c.id != but_pk)
    return int(session.execute(query).rowcount)  # type: ignore[attr-defined]


def list_sessions(
    session: Session, user_pk: int, *, begun_after: datetime, used_after: datetime
) -> list[dict[str, Any]]:
    """Return a person's sessions that are still good, the one used last first."""
    query = (
        sa.select(
            _SESSIONS.c.id.label("pk"),
            _SESSIONS.c.session_id,
            _SESSIONS.c.device,
            _SESSIONS.c.begun_at,
            _SESSIONS.c.used_at,
            _TENANTS.c.tenant_id,
        )
        .join(_TENANTS, _TENANTS.c.id == _SESSIONS.c.tenant_pk)
        .where(
            _SESSIONS.c.user_pk == user_pk,
            _SESSIONS.c.begun_at >= begun_after,
            _SESSIONS.c.used_at >= used_after,
        )
        .order_by(_SESSIONS.c.used_at.desc(), _SESSIONS.c.id.desc())
    )
    return [dict(row) for row in session.execute(query).mappings()]


def add_token(session: Session, values: dict[str, Any]) -> str:
    """Keep a new API token's hash, name and scopes; return its public id."""
    token = ApiToken(**values)
    session.add(token)
    session.flush()
    return token.token_id


def find_token(session: Session, token_hash: str) -> dict[str, Any] | None:
    """Return a token that is not revoked and whose maker is still a member; else None."""
    query = (
        sa.select(
            _TOKENS.c.id.label("pk"),
            _TOKENS.c.token_id,
            _TOKENS.c.tenant_pk,
            _TOKENS.c.scopes,
            _TOKENS.c.used_at,
            _USERS.c.email,
            _MEMBERS.c.role,
        )
        .join(_USERS, (_USERS.c.id == _TOKENS.c.user_pk) & _USERS.c.disabled_at.is_(None))
        .join(
            _MEMBERS,
            (_MEMBERS.c.user_pk == _USERS.c.id) & (_MEMBERS.c.tenant_pk == _TOKENS.c.tenant_pk),
        )
        .where(_TOKENS.c.token_hash == token_hash, _TOKENS.c.revoked_at.is_(None))
    )
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def list_tokens(session: Session, tenant_pk: int) -> list[dict[str, Any]]:
    """Return a tenant's tokens without their hashes, newest first."""
    query = (
        sa.select(
            _TOKENS.c.token_id,
            _TOKENS.c.name,
            _TOKENS.c.scopes,
            _TOKENS.c.made_at,
            _TOKENS.c.used_at,
            _TOKENS.c.revoked_at,
            _USERS.c.email.label("made_by"),
        )
        .join(_USERS, _USERS.c.id == _TOKENS.c.user_pk)
        .where(_TOKENS.c.tenant_pk == tenant_pk)
        .order_by(_TOKENS.c.id.desc())
    )
    return [dict(row) for row in session.execute(query).mappings()]


def end_tokens_of(
    session: Session, user_pk: int, now: datetime, tenant_pk: int | None = None
) -> int:
    """End the tokens that a person made, in one tenant or anywhere; return how many."""
    query = sa.update(_TOKENS).where(_TOKENS.c.user_pk == user_pk, _TOKENS.c.revoked_at.is_(None))
    if tenant_pk is not None:
        query = query.where(_TOKENS.c.tenant_pk == tenant_pk)
    return int(session.execute(query.values(revoked_at=now)).rowcount)  # type: ignore[attr-defined]


def end_tokens_named(session: Session, tenant_pk: int, name: str, now: datetime) -> None:
    """End a tenant's tokens of one name."""
    session.execute(
        sa.update(_TOKENS)
        .where(
            _TOKENS.c.tenant_pk == tenant_pk, _TOKENS.c.name == name, _TOKENS.c.revoked_at.is_(None)
        )
        .values(revoked_at=now)
    )


def revoke_token(session: Session, tenant_pk: int, token_id: str, now: datetime) -> bool:
    """End a token for good; return whether the tenant has one of this id."""
    query = (
        sa.update(_TOKENS)
        .where(_TOKENS.c.tenant_pk == tenant_pk, _TOKENS.c.token_id == token_id)
        .values(revoked_at=sa.func.coalesce(_TOKENS.c.revoked_at, now))
    )
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def put_link(
    session: Session, *, tenant_pk: int, wearer_pk: int, secret_hash: str, now: datetime
) -> None:
    """Give a customer a link in the place of the one they had, whose sessions end with it."""
    hold_key(session, "link", wearer_pk)
    remove_link(session, wearer_pk)
    session.execute(
        sa.insert(_LINKS).values(
            tenant_pk=tenant_pk, wearer_pk=wearer_pk, secret_hash=secret_hash, made_at=now
        )
    )


def remove_link(session: Session, wearer_pk: int) -> bool:
    """End a customer's link and the sessions it opened; return whether there was one."""
    query = sa.delete(_LINKS).where(_LINKS.c.wearer_pk == wearer_pk)
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def find_link(session: Session, secret_hash: str) -> dict[str, Any] | None:
    """Return `pk`, `tenant_pk` and `wearer_pk` of a customer's link, or None."""
    query = sa.select(_LINKS.c.id.label("pk"), _LINKS.c.tenant_pk, _LINKS.c.wearer_pk)
    row = session.execute(query.where(_LINKS.c.secret_hash == secret_hash)).mappings().one_or_none()
    return None if row is None else dict(row)


def sweep_sessions(session: Session, before: datetime) -> None:
    """Delete sessions that nobody used since that moment."""
    session.execute(sa.delete(_SESSIONS).where(_SESSIONS.c.used_at < before))
