"""HTTP schemas of accounts.

What do members, invitations, tokens, links and the audit log look like over HTTP?
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = [
    "AuditPage",
    "CustomerErased",
    "CustomerRecord",
    "Invitation",
    "Invited",
    "Link",
    "Member",
    "NewInvitation",
    "NewToken",
    "SignedIn",
    "Token",
    "TokenMade",
]

Scope = Literal["read", "write", "notices", "manage"]
Role = Literal["owner", "staff"]
Instant = Annotated[datetime, Field(description="Unit: none (instant in UTC, ISO 8601)")]


MaybeInstant = Annotated[
    datetime | None, Field(description="null = never. Unit: none (instant in UTC, ISO 8601)")
]


class _Given(BaseModel):
    model_config = ConfigDict(extra="forbid")


class NewInvitation(_Given):
    """Who is invited, and as what."""

    email: Annotated[
        str, Field(max_length=200, description="address they will sign in with. Unit: none (text)")
    ]
    role: Annotated[
        Role | None,
        Field(
            description="what they may do; null = what a member may already, staff for anybody "
            "else. Unit: none (word)"
        ),
    ] = None


class Invited(BaseModel):
    """An invitation, shown this once."""

    path: Annotated[str, Field(description="address to pass on. Unit: none (path)")]


class Invitation(BaseModel):
    """An invitation without its address."""

    invitation_id: Annotated[
        str, Field(description="name it is withdrawn by. Unit: none (identifier)")
    ]
    email: Annotated[str, Field(description="whom it is for. Unit: none (e-mail address)")]
    role: Annotated[Role, Field(description="what they may do then. Unit: none (word)")]
    expires_at: Instant


class Member(BaseModel):
    """A member of the tenant."""

    user_id: Annotated[str, Field(description="name they are removed by. Unit: none (identifier)")]
    email: Annotated[str, Field(description="address they sign in with. Unit: none (text)")]
    role: Annotated[Role, Field(description="what they may do. Unit: none (word)")]


class SignedIn(BaseModel):
    """A browser that a person is signed in with."""

    session_id: Annotated[str, Field(description="name it is ended by. Unit: none (identifier)")]
    device: Annotated[str, Field(description="browser and system. Unit: none (text)")]
    tenant_id: Annotated[str, Field(description="where it is signed in. Unit: none (identifier)")]
    begun_at: Instant
    used_at: Instant
    here: Annotated[
        bool, Field(description="whether it sends this request. Unit: true or false")
    ] = False


class NewToken(_Given):
    """A key to be made for a program."""

    scopes: Annotated[
        list[Scope],
        Field(min_length=1, max_length=4, description="what it may do. Unit: none (words)"),
    ]


class TokenMade(BaseModel):
    """A key, shown this once."""

    token_id: Annotated[str, Field(description="name it is revoked by. Unit: none (identifier)")]
    token: Annotated[str, Field(description="the key itself. Unit: none (opaque text)")]


class Token(BaseModel):
    """A key without the key."""

    token_id: Annotated[str, Field(description="name it is revoked by. Unit: none (identifier)")]
    name: Annotated[str, Field(description="what it is for. Unit: none (text)")]
    scopes: Annotated[list[Scope], Field(description="what it may do. Unit: none (words)")]
    made_by: Annotated[str, Field(description="who made it. Unit: none (text)")]
    made_at: Instant
    used_at: MaybeInstant
    revoked_at: MaybeInstant


class Link(BaseModel):
    """A customer's way to their own pairs, shown this once."""

    path: Annotated[str, Field(description="address to pass on. Unit: none (path)")]


class CustomerRecord(BaseModel):
    """Everything that is kept of one customer."""

    made_at: Instant
    wearer_id: Annotated[str, Field(description="which customer. Unit: none (identifier)")]
    held: Annotated[
        dict[str, list[dict[str, Any]]],
        Field(
            description="rows by table, with the columns' units; photographs as base64. "
            "Unit: none (records)"
        ),
    ]


class CustomerErased(BaseModel):
    """What was erased of one customer."""

    rows: Annotated[dict[str, int], Field(description="how many, by table. Unit: rows")]
    file_written_anew: Annotated[
        bool,
        Field(
            description="false where the database file may still hold deleted bytes for a while. "
            "Unit: true or false"
        ),
    ]


class AuditEntry(BaseModel):
    """One change."""

    at: Instant
    actor: Annotated[str, Field(description="who changed it. Unit: none (text)")]
    action: Annotated[str, Field(description="method and route. Unit: none (text)")]
    subject: Annotated[
        dict[str, Any],
        Field(
            description="ids in the address, and of what was made or changed; a list where "
            "there were several. Unit: none (identifiers)"
        ),
    ]


class AuditPage(BaseModel):
    """Some entries of the audit log, newest first."""

    items: Annotated[list[AuditEntry], Field(description="the entries. Unit: none (records)")]
    next: Annotated[str | None, Field(description="`after` of what follows. Unit: none (text)")]
