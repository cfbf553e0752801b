"""Tokens service.

How does a program get a key to a tenant, and a customer a way to their own pairs?
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import NotFound, Refused
from solespan.api.services.accounts import secrets
from solespan.api.services.accounts.identity import MAY, SCOPES, TOKEN_START, Identity
from solespan.api.services.accounts.people import tidy_email
from solespan.api.services.accounts.security_log import note_after
from solespan.api.storage.accounts import credentials
from solespan.api.storage.accounts.accounts import list_members
from solespan.api.storage.accounts.credentials import list_tokens
from solespan.api.storage.rack.records import owner_of

__all__ = [
    "end_link",
    "list_tokens",
    "make_token",
    "member_identity",
    "new_link",
    "open_link",
    "revoke",
]


def make_token(
    session: Session, who: Identity, *, name: str, scopes: Collection[str], now: datetime
) -> tuple[str, str]:
    """Make an API token; return its public id and the token, which is shown this once.

    It takes the place of the tenant's token of the same name, which ends.

    Raises `Refused` for a scope that is not there or that its maker does not have.
    """
    unknown = sorted(set(scopes) - (who.may & set(SCOPES)))
    if unknown or not scopes or who.user_pk is None:
        raise Refused(
            "A token cannot have these scopes."
            if who.user_pk is not None
            else "Only a person who is signed in makes tokens.",
            where="scopes",
            accepted=", ".join(scope for scope in SCOPES if scope in who.may),
            remedy="Choose at least one of your own.",
        )
    credentials.end_tokens_named(session, who.tenant_pk, name, now)
    token = TOKEN_START + secrets.new_secret()
    values = {
        "tenant_pk": who.tenant_pk,
        "user_pk": who.user_pk,
        "name": name,
        "scopes": sorted(set(scopes)),
        "token_hash": secrets.hash_of(token),
        "made_at": now,
    }
    token_id = credentials.add_token(session, values)
    note_after(session, "token_made", token_id=token_id, scopes=values["scopes"])
    return token_id, token


def member_identity(session: Session, tenant_pk: int, email: str) -> Identity:
    """Return a member as a sender, for whom a key is made. Raises `NotFound`."""
    for member in list_members(session, tenant_pk):
        if member["email"] == tidy_email(email):
            return Identity(tenant_pk, email, MAY[member["role"]], user_pk=member["user_pk"])
    raise NotFound(
        f"There is no member {email!r}.",
        where="--member",
        remedy="See the members: solespan list members. Invite one: solespan accounts invite",
    )


def revoke(session: Session, tenant_pk: int, token_id: str, now: datetime) -> None:
    """End a token for good; again does nothing. Raises `NotFound`."""
    if not credentials.revoke_token(session, tenant_pk, token_id, now):
        raise NotFound("There is no such token.", where="token_id", remedy="Look at the list.")
    note_after(session, "token_revoked", token_id=token_id)


def _wearer_pk(session: Session, wearer_id: str) -> int:
    owner = owner_of(session, "wearer_id", wearer_id, lock=False)
    if owner is None:
        raise NotFound(
            f"There is no wearer {wearer_id!r}.", where="wearer_id", remedy="Look at the list."
        )
    return owner.wearer_pk


def new_link(session: Session, *, tenant_pk: int, wearer_id: str, now: datetime) -> str:
    """Make a customer's link, ending the one before, and return its secret. Raises `NotFound`."""
    secret = secrets.new_secret()
    credentials.put_link(
        session,
        tenant_pk=tenant_pk,
        wearer_pk=_wearer_pk(session, wearer_id),
        secret_hash=secrets.hash_of(secret),
        now=now,
    )
    note_after(session, "link_made")
    return secret


def end_link(session: Session, wearer_id: str) -> None:
    """End a customer's link and every browser that came in by it. Raises `NotFound`."""
    if not credentials.remove_link(session, _wearer_pk(session, wearer_id)):
        raise NotFound("This customer has no link.", where="wearer_id")
    note_after(session, "link_ended")


def open_link(session: Session, secret: str, now: datetime) -> tuple[str, dict[str, Any]]:
    """Let a customer's browser in; return the session's secret and the link's row.

    Raises `NotFound` when the link was ended.
    """
    link = credentials.find_link(session, secrets.hash_of(secret))
    if link is None:
        raise NotFound("This link is not in use any more.", remedy="Ask the shop for a new one.")
    mine = secrets.new_secret()
    credentials.add_session(
        session,
        token_hash=secrets.hash_of(mine),
        tenant_pk=link["tenant_pk"],
        link_pk=link["pk"],
        now=now,
    )
    credentials.touch(session, "link", link["pk"], now)
    note_after(session, "link_opened", customer=link["wearer_pk"], tenant=link["tenant_pk"])
    return mine, link
