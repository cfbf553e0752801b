"""HTTP routes of accounts.

How are members, invitations, tokens, customers' links and the audit log reached over HTTP?
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Request, Response

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    Sender,
    after_of,
    cursor_of,
    json_answer,
    needs_json,
    plain,
    rows_answer,
)
from solespan.api.schemas.accounts.accounts import (
    AuditPage,
    Invitation,
    Invited,
    Link,
    Member,
    NewInvitation,
    NewToken,
    SignedIn,
    Token,
    TokenMade,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.services.accounts import people, sessions, tokens
from solespan.api.services.accounts.audit import list_audit
from solespan.api.services.accounts.people import list_invitations, tidy_email
from solespan.api.services.accounts.tokens import list_tokens

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["accounts"], responses=PROBLEM_ANSWERS)
SHOWN_OF_SESSION = ("session_id", "device", "tenant_id", "begun_at", "used_at", "here")
_AS_JSON = [Depends(needs_json)]


@router.get("/members", response_model=None, responses={200: {"model": list[Member]}})
def list_members(ctx: Context) -> Response:
    """List the members."""
    with ctx.database.reading() as session:
        rows = people.members_of(session, ctx.database.tenant_pk)
    return json_answer([{name: row[name] for name in ("user_id", "email", "role")} for row in rows])


@router.delete("/members/{user_id}", response_model=None, status_code=204)
def remove_member(
    ctx: Context,
    user_id: Annotated[KnownId, Path(description="which member. Unit: none (identifier)")],
) -> Response:
    """End a membership at once, and the keys that the member made."""
    with ctx.database.writing() as session:
        people.remove_member(
            session,
            tenant_pk=ctx.database.tenant_pk,
            member=user_id,
            now=ctx.clock.now(),
        )
    return Response(status_code=204)


@router.delete("/members/{user_id}/sessions", response_model=None, status_code=204)
def end_sessions_of_member(
    ctx: Context,
    user_id: Annotated[KnownId, Path(description="which member. Unit: none (identifier)")],
) -> Response:
    """Sign out every browser of a member, in this tenant."""
    with ctx.database.writing() as session:
        sessions.end_members_sessions(session, ctx.database.tenant_pk, user_id)
    return Response(status_code=204)


@router.get("/sessions", response_model=None, responses={200: {"model": list[SignedIn]}})
def read_sessions(ctx: Context, who: Sender) -> Response:
    """List where the person who asks is signed in."""
    limits = sessions.session_limits(ctx.settings)
    with ctx.database.reading() as session:
        rows = sessions.own_sessions(session, who, ctx.clock.now(), limits)
    return json_answer([plain({name: row[name] for name in SHOWN_OF_SESSION}) for row in rows])


@router.delete("/sessions", response_model=None, status_code=204)
def end_other_sessions(ctx: Context, who: Sender) -> Response:
    """Sign out every other browser of the person who asks."""
    with ctx.database.writing() as session:
        sessions.end_other_sessions(session, who)
    return Response(status_code=204)


@router.delete("/sessions/{session_id}", response_model=None, status_code=204)
def end_session(
    ctx: Context,
    who: Sender,
    session_id: Annotated[KnownId, Path(description="which session. Unit: none (identifier)")],
) -> Response:
    """Sign out one browser of the person who asks."""
    with ctx.database.writing() as session:
        sessions.end_own_session(session, who, session_id)
    return Response(status_code=204)


@router.get("/invitations", response_model=None, responses={200: {"model": list[Invitation]}})
def list_all_invitations(ctx: Context) -> Response:
    """List unused invitations, without their secret addresses."""
    with ctx.database.reading() as session:
        rows = list_invitations(session, ctx.database.tenant_pk, ctx.clock.now())
    return json_answer([plain(row) for row in rows])


@router.put(
    "/invitations", response_model=None, responses={200: {"model": Invited}}, dependencies=_AS_JSON
)
def make_invitation(ctx: Context, new: NewInvitation) -> Response:
    """Make an invitation; it replaces an older one to the same person.

    Its address is shown this once, works once, and for three days.
    """
    with ctx.database.about(email=tidy_email(new.email)[:200]).writing() as session:
        secret = people.invite(
            session,
            tenant_pk=ctx.database.tenant_pk,
            email=new.email,
            role=new.role,
            now=ctx.clock.now(),
        )
    return json_answer({"path": f"/join/{secret}"})


@router.delete("/invitations/{invitation_id}", response_model=None, status_code=204)
def withdraw_invitation(
    ctx: Context,
    invitation_id: Annotated[
        KnownId, Path(description="which invitation. Unit: none (identifier)")
    ],
) -> Response:
    """End an unused invitation."""
    with ctx.database.writing() as session:
        people.withdraw(session, tenant_pk=ctx.database.tenant_pk, invitation_id=invitation_id)
    return Response(status_code=204)


@router.get("/tokens", response_model=None, responses={200: {"model": list[Token]}})
def list_keys(ctx: Context) -> Response:
    """List the keys of programs, without the keys."""
    with ctx.database.reading() as session:
        rows = list_tokens(session, ctx.database.tenant_pk)
    return json_answer([plain(row) for row in rows])


@router.put(
    "/tokens/{name}",
    response_model=None,
    responses={200: {"model": TokenMade}},
    dependencies=_AS_JSON,
)
def make_key(
    ctx: Context,
    who: Sender,
    name: Annotated[
        str,
        Path(
            min_length=1,
            max_length=100,
            description="what it is for. Unit: none (text)",
        ),
    ],
    new: NewToken,
) -> Response:
    """Make a key for a program; it replaces the one of this name and is shown only once."""
    with ctx.database.writing() as session:
        token_id, token = tokens.make_token(
            session, who, name=name, scopes=new.scopes, now=ctx.clock.now()
        )
    return json_answer({"token_id": token_id, "token": token})


@router.delete("/tokens/{name}", response_model=None, status_code=204)
def revoke_key(
    ctx: Context,
    token_id: Annotated[
        KnownId, Path(alias="name", description="the token_id of the key. Unit: none (identifier)")
    ],
) -> Response:
    """End a key for good, at once."""
    with ctx.database.writing() as session:
        tokens.revoke(session, ctx.database.tenant_pk, token_id, ctx.clock.now())
    return Response(status_code=204)


@router.put("/customers/{wearer_id}/link", response_model=None, responses={200: {"model": Link}})
def make_customer_link(
    ctx: Context,
    wearer_id: Annotated[KnownId, Path(description="which customer. Unit: none (identifier)")],
) -> Response:
    """Make a customer's own link, shown only once; an older one ends."""
    with ctx.database.writing() as session:
        secret = tokens.new_link(
            session,
            tenant_pk=ctx.database.tenant_pk,
            wearer_id=wearer_id,
            now=ctx.clock.now(),
        )
    return json_answer({"path": f"/open/{secret}"})


@router.delete("/customers/{wearer_id}/link", response_model=None, status_code=204)
def end_customer_link(
    ctx: Context,
    wearer_id: Annotated[KnownId, Path(description="which customer. Unit: none (identifier)")],
) -> Response:
    """End a customer's link, and every browser session it opened."""
    with ctx.database.writing() as session:
        tokens.end_link(session, wearer_id)
    return Response(status_code=204)


@router.get("/audit", response_model=None, responses={200: {"model": AuditPage}})
def list_audit_entries(
    ctx: Context,
    request: Request,
    after: Annotated[
        str | None, Query(max_length=200, description="`next` of a page. Unit: none (opaque text)")
    ] = None,
    limit: Annotated[int, Query(ge=1, le=200, description="at most so many. Unit: entries")] = 50,
) -> Response:
    """List what was changed, newest first."""
    known = after_of(after, (int,))
    with ctx.database.reading() as session:
        rows = list_audit(session, after=known, limit=limit)
    items = [plain({k: v for k, v in row.items() if k != "id"}) for row in rows]
    following = cursor_of((rows[-1]["id"],)) if len(rows) == limit else None
    return rows_answer(request, items, following)
