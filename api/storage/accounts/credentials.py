"""Credential storage.

Who holds which key: browser sessions, API tokens, customers' links, and failed sign-ins?

Only hashes of keys are kept. These tables stand outside the tenants, as a tenant is found by them.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from solespan.api.storage.tables.accounts import (
    ApiToken,
    BrowserSession,
    Membership,
    PersonalLink,
    SignInTry,
    User,
)

__all__ = [
    "add_session",
    "add_token",
    "clear_tries",
    "count_try",
    "end_session",
    "end_sessions",
    "end_tokens_named",
    "end_tokens_of",
    "find_link",
    "find_session",
    "find_token",
    "list_tokens",
    "put_link",
    "remove_link",
    "revoke_token",
    "sweep_keys",
    "touch",
    "tries_of",
]

_SESSIONS: sa.Table = BrowserSession.__table__  # type: ignore[assignment]
_TOKENS: sa.Table = ApiToken.__table__  # type: ignore[assignment]
_LINKS: sa.Table = PersonalLink.__table__  # type: ignore[assignment]
_TRIES: sa.Table = SignInTry.__table__  # type: ignore[assignment]
_USERS: sa.Table = User.__table__  # type: ignore[assignment]
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
) -> None:
    """Let a browser in: a member's, or a customer's by their link."""
    session.execute(
        sa.insert(_SESSIONS).values(
            token_hash=token_hash,
            user_pk=user_pk,
            link_pk=link_pk,
            tenant_pk=tenant_pk,
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
            _MEMBERS.c.role,
            _LINKS.c.wearer_pk,
        )
        .select_from(_SESSIONS)
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


def end_sessions(session: Session, user_pk: int, tenant_pk: int | None = None) -> None:
    """Let none of a person's browsers in any more (in one tenant, or anywhere)."""
    query = sa.delete(_SESSIONS).where(_SESSIONS.c.user_pk == user_pk)
    if tenant_pk is not None:
        query = query.where(_SESSIONS.c.tenant_pk == tenant_pk)
    session.execute(query)


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


def end_tokens_of(session: Session, user_pk: int, tenant_pk: int, now: datetime) -> None:
    """End what a person made in one tenant: joining it again gives none of it back."""
    session.execute(
        sa.update(_TOKENS)
        .where(
            _TOKENS.c.tenant_pk == tenant_pk,
            _TOKENS.c.user_pk == user_pk,
            _TOKENS.c.revoked_at.is_(None),
        )
        .values(revoked_at=now)
    )


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


def tries_of(session: Session, key_hash: str) -> tuple[int, datetime] | None:
    """Return how often a key failed in a row, and when last; None if it did not."""
    query = sa.select(_TRIES.c.failures, _TRIES.c.last_at).where(_TRIES.c.key_hash == key_hash)
    row = session.execute(query).one_or_none()
    return None if row is None else (row[0], row[1])


def count_try(session: Session, key_hash: str, now: datetime) -> None:
    """Count one more failure of a key, also while another request counts one."""
    insert = postgresql.insert if session.get_bind().dialect.name == "postgresql" else sqlite.insert
    session.execute(
        insert(_TRIES)
        .values(key_hash=key_hash, failures=1, last_at=now)
        .on_conflict_do_update(
            index_elements=[_TRIES.c.key_hash],
            set_={"failures": _TRIES.c.failures + 1, "last_at": now},
        )
    )


def clear_tries(session: Session, key_hash: str) -> None:
    """Forget a key's failures."""
    session.execute(sa.delete(_TRIES).where(_TRIES.c.key_hash == key_hash))


def sweep_keys(session: Session, *, sessions_before: datetime, tries_before: datetime) -> None:
    """Delete sessions and failed sign-ins that are too old to matter."""
    session.execute(sa.delete(_SESSIONS).where(_SESSIONS.c.used_at < sessions_before))
    session.execute(sa.delete(_TRIES).where(_TRIES.c.last_at < tries_before))
