"""How is a tenant made, and how do people join it, change their part in it, and leave?

Nobody is given a password: an owner makes an invitation, a secret address that works once within
three days, and whoever opens it chooses their own. The same way leads back in for someone who
forgot theirs.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from api.errors import Conflict, NotFound, Refused
from api.services.accounts import secrets
from api.storage import accounts, keys
from api.storage.account_tables import KINDS, ROLES

__all__ = [
    "accept",
    "invitation_of",
    "invite",
    "members_of",
    "new_tenant",
    "remove_member",
    "tidy_email",
]

INVITED_FOR = timedelta(days=3)
_EMAIL = re.compile(r"[^@\s,;<>\"\x00-\x1f]{1,64}@[^@\s,;<>\"\x00-\x1f]{1,120}")
_TENANT_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")


def tidy_email(email: str) -> str:
    """Return an address as it is kept: without space around it, in small letters."""
    return email.strip().casefold()


def new_tenant(session: Session, *, tenant_id: str, name: str, kind: str) -> int:
    """Make a tenant. Raises `Refused` or `Conflict`. Returns its number."""
    if not _TENANT_ID.fullmatch(tenant_id):
        raise Refused(
            f"The tenant's id {tenant_id!r} cannot be used.",
            where="id",
            accepted="1 to 40 small letters, digits and hyphens",
            remedy="Choose another id.",
        )
    if kind not in KINDS:
        raise Refused(f"There is no kind {kind!r}.", where="kind", accepted=", ".join(KINDS))
    if accounts.find_tenant(session, tenant_id) is not None:
        raise Conflict(f"A tenant {tenant_id} is there already.", remedy="Choose another id.")
    return accounts.add_tenant(session, tenant_id=tenant_id, name=name, kind=kind)


def invite(session: Session, *, tenant_pk: int, email: str, role: str, now: datetime) -> str:
    """Make an invitation in the place of an older one, and return its secret.

    Raises `Refused` for what is no address or no role.
    """
    email = tidy_email(email)
    if not _EMAIL.fullmatch(email):
        raise Refused(
            "This is no e-mail address.",
            where="email",
            accepted="one address, as in name@example.org",
            remedy="Correct it.",
        )
    if role not in ROLES:
        raise Refused(f"There is no role {role!r}.", where="role", accepted=", ".join(ROLES))
    secret = secrets.new_secret()
    accounts.put_invitation(
        session,
        tenant_pk=tenant_pk,
        email=email,
        role=role,
        secret_hash=secrets.hash_of(secret),
        expires_at=now + INVITED_FOR,
    )
    return secret


def invitation_of(session: Session, secret: str, now: datetime) -> dict[str, Any]:
    """Return whom an invitation is for, without using it. Raises `NotFound`."""
    found = accounts.take_invitation(session, secrets.hash_of(secret), now, keep=True)
    if found is None:
        raise _over()
    return found


def accept(session: Session, *, secret: str, password: str, now: datetime) -> None:
    """Use an invitation: the person is a member then, with this password.

    Raises `NotFound` when it was used or is over, `Refused` for the password; it stays good then.
    """
    found = invitation_of(session, secret, now)
    fault = secrets.fault_of_password(password, email=found["email"])
    if fault:
        raise Refused(fault, where="password", remedy="Choose another; a sentence is good.")
    if accounts.take_invitation(session, secrets.hash_of(secret), now) is None:
        raise _over()
    kept = secrets.hash_password(password)
    person = accounts.find_person(session, found["email"])
    if person is None:
        user_pk = accounts.add_person(session, email=found["email"], password_hash=kept)
    else:
        user_pk = person.user_pk
        accounts.set_password(session, user_pk, kept)
        keys.end_sessions(session, user_pk)
    accounts.join(session, user_pk=user_pk, tenant_pk=found["tenant_pk"], role=found["role"])


def members_of(session: Session, tenant_pk: int) -> list[dict[str, Any]]:
    """Return `email` and `role` of a tenant's members."""
    return accounts.list_members(session, tenant_pk)


def remove_member(session: Session, *, tenant_pk: int, email: str) -> None:
    """End a membership, its sessions and tokens' power at once.

    Raises `NotFound`, or `Conflict` for the last owner.
    """
    members = accounts.list_members(session, tenant_pk)
    mine = [member for member in members if member["email"] == tidy_email(email)]
    if not mine:
        raise NotFound("There is no such member.", where="email", remedy="Look at the list.")
    owners = [member for member in members if member["role"] == "owner"]
    if owners == mine:
        raise Conflict(
            "The last owner cannot be removed.", remedy="Invite another owner first, then remove."
        )
    accounts.leave(session, user_pk=mine[0]["user_pk"], tenant_pk=tenant_pk)
    keys.end_sessions(session, mine[0]["user_pk"], tenant_pk)


def _over() -> NotFound:
    return NotFound(
        "This invitation was used or is over.",
        remedy="Ask the owner who invited you for a new one.",
    )
