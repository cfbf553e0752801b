"""People service.

How is a tenant made, and how do people join it, change their part in it, and leave?

No password is handed out. An owner makes an invitation, a secret address that works once within
three days. The person who opens it chooses their own password. The same way leads back in for
someone who forgot theirs. A member of another tenant joins by signing in. Otherwise the owners of
one shop could give themselves a password to the next. Only the terminal lets such a person choose a
new one.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound, Refused
from solespan.api.services.accounts import secrets
from solespan.api.services.accounts.security_log import note_after
from solespan.api.storage.accounts import accounts, credentials
from solespan.api.storage.accounts.accounts import list_invitations, list_tenants, tenants_of
from solespan.api.storage.tables.accounts import KINDS, ROLES

__all__ = [
    "accept",
    "invitation_of",
    "invite",
    "list_invitations",
    "list_tenants",
    "members_of",
    "new_tenant",
    "remove_member",
    "rename",
    "tenants_of",
    "tidy_email",
    "withdraw",
]

INVITED_FOR = timedelta(days=3)
LONGEST_NAME = 200
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


def rename(session: Session, *, tenant_pk: int, name: str) -> None:
    """Change what people call a tenant. Raises `Refused` for no name, or too long a one."""
    if not 0 < len(name.strip()) <= LONGEST_NAME:
        raise Refused(
            "This is no name.",
            where="name",
            accepted=f"1 to {LONGEST_NAME} characters",
            remedy="Give another.",
        )
    accounts.rename_tenant(session, tenant_pk, name.strip())


def invite(
    session: Session,
    *,
    tenant_pk: int,
    email: str,
    role: str | None,
    now: datetime,
    new_password: bool = False,
) -> str:
    """Make an invitation in the place of an older one, and return its secret.

    A member invited with no `role` keeps the one they have when they accept. Anybody else is staff
    then, but for the first member. With `new_password` the person chooses one whichever tenants
    they belong to. Raises `Refused` for what is no address or no role, `Conflict` where no owner
    would be left.
    """
    email = tidy_email(email)
    if not _EMAIL.fullmatch(email):
        raise Refused(
            "This is no e-mail address.",
            where="email",
            accepted="one address, as in name@example.org",
            remedy="Correct it.",
        )
    if role is None:
        members = accounts.list_members(session, tenant_pk)
        if all(member["email"] != email for member in members):
            role = "staff" if members else "owner"
    elif role not in ROLES:
        raise Refused(f"There is no role {role!r}.", where="role", accepted=", ".join(ROLES))
    else:
        _refuse_without_owner(session, tenant_pk, email, role)
    secret = secrets.new_secret()
    accounts.put_invitation(
        session,
        tenant_pk=tenant_pk,
        email=email,
        role=role,
        secret_hash=secrets.hash_of(secret),
        expires_at=now + INVITED_FOR,
        new_password=new_password,
    )
    return secret


def invitation_of(session: Session, secret: str, now: datetime) -> dict[str, Any]:
    """Return `tenant_pk`, `email`, `role` of an invitation and `person_pk`, without using it.

    The role of an invitation without one is the member's. `person_pk` is the person who must be
    signed in to use it; None where a password is chosen. Raises `NotFound`.
    """
    found = accounts.take_invitation(session, secrets.hash_of(secret), now, keep=True)
    if found is None:
        raise _over()
    if found["role"] is None:
        members = accounts.list_members(session, found["tenant_pk"])
        roles = [m["role"] for m in members if m["email"] == found["email"]]
        if not roles:
            raise _over()
        found["role"] = roles[0]
    person = accounts.find_person(session, found["email"])
    elsewhere = person is not None and any(
        tenant["pk"] != found["tenant_pk"]
        for tenant in accounts.tenants_of(session, person.user_pk)
    )
    signs_in = person if elsewhere and not found["new_password"] else None
    return found | {"person_pk": signs_in.user_pk if signs_in else None}


def accept(
    session: Session, *, secret: str, password: str, now: datetime, signed_in_pk: int | None = None
) -> None:
    """Use an invitation: the person is a member then, with this password or the one they have.

    Raises `NotFound` when it was used or is over. Raises `Refused` for the password, or for a
    person who is not signed in as they must. Raises `Conflict` where no owner would be left. The
    invitation stays good then.
    """
    found = invitation_of(session, secret, now)
    if found["person_pk"] is None:
        fault = secrets.fault_of_password(password, email=found["email"])
        if fault:
            raise Refused(fault, where="password", remedy="Choose another; a sentence is good.")
    elif found["person_pk"] != signed_in_pk:
        raise Refused(
            f"{found['email']} has a password here already.",
            remedy="Sign in with it, then open this address again.",
        )
    _refuse_without_owner(session, found["tenant_pk"], found["email"], found["role"])
    if accounts.take_invitation(session, secrets.hash_of(secret), now) is None:
        raise _over()
    members = accounts.list_members(session, found["tenant_pk"])
    before = next((m["role"] for m in members if m["email"] == found["email"]), None)
    user_pk = found["person_pk"] or _with_password(session, found["email"], password)
    accounts.join(session, user_pk=user_pk, tenant_pk=found["tenant_pk"], role=found["role"])
    account = accounts.user_id_of(session, user_pk)
    of = {"account": account, "tenant": found["tenant_pk"]}
    if before is None:
        note_after(session, "member_added", role=found["role"], **of)
    elif before != found["role"]:
        note_after(session, "role_changed", role=found["role"], before=before, **of)


def _with_password(session: Session, email: str, password: str) -> int:
    with secrets.turn():
        kept = secrets.hash_password(password)
    person = accounts.find_person(session, email)
    if person is None:
        return accounts.add_person(session, email=email, password_hash=kept)
    accounts.set_password(session, person.user_pk, kept)
    credentials.end_sessions(session, person.user_pk)
    note_after(session, "password_changed", account=accounts.user_id_of(session, person.user_pk))
    return person.user_pk


def members_of(session: Session, tenant_pk: int) -> list[dict[str, Any]]:
    """Return `user_id`, `email` and `role` of a tenant's members."""
    return accounts.list_members(session, tenant_pk)


def remove_member(session: Session, *, tenant_pk: int, member: str, now: datetime) -> None:
    """End a membership with its sessions, tokens and invitations at once.

    `member` is an id or an e-mail address.

    A person who belongs nowhere any more is forgotten, but for their name in the log of changes.
    Raises `NotFound`, or `Conflict` for the last owner.
    """
    given = (member, tidy_email(member))
    mine = [
        row
        for row in accounts.list_members(session, tenant_pk)
        if row["user_id"] == given[0] or row["email"] == given[1]
    ]
    if not mine:
        raise NotFound("There is no such member.", where="member", remedy="Look at the list.")
    _refuse_without_owner(session, tenant_pk, mine[0]["email"], "")
    accounts.leave(session, user_pk=mine[0]["user_pk"], tenant_pk=tenant_pk)
    accounts.withdraw_invitations(session, tenant_pk, mine[0]["email"])
    credentials.end_sessions(session, mine[0]["user_pk"], tenant_pk)
    credentials.end_tokens_of(session, mine[0]["user_pk"], now, tenant_pk)
    note_after(session, "member_removed", account=mine[0]["user_id"], tenant=tenant_pk)
    if not accounts.tenants_of(session, mine[0]["user_pk"]):
        accounts.remove_person(session, mine[0]["user_pk"])


def _refuse_without_owner(session: Session, tenant_pk: int, email: str, role: str) -> None:
    members = accounts.list_members(session, tenant_pk, lock=True)
    owners = [member["email"] for member in members if member["role"] == "owner"]
    if owners == [email] and role != "owner":
        raise Conflict(
            "The last owner cannot be removed or made staff.",
            remedy="Invite another owner first, who then can do it.",
        )


def withdraw(session: Session, *, tenant_pk: int, invitation_id: str) -> None:
    """End an unused invitation. Raises `NotFound`."""
    if not accounts.remove_invitation(session, tenant_pk, invitation_id):
        raise NotFound(
            "There is no such invitation; it may have been used.",
            where="invitation_id",
            remedy="Look at the list.",
        )


def _over() -> NotFound:
    return NotFound(
        "This invitation was used or is over.",
        remedy="Ask the owner who invited you for a new one.",
    )
