"""Page routes of sign in.

How does a person come in by a page: with a password, an invitation, or a customer's link?

The address of an invitation or a customer's link holds its secret: a stated exception to keeping
secrets out of addresses. Opening one changes nothing, as programs that scan mail open every link;
its button does.
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from solespan.api.author import Author
from solespan.api.errors import SolespanError
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context, Sender
from solespan.api.services.accounts import people, sign_in, tokens
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.accounts.people import list_tenants, tenants_of
from solespan.api.services.accounts.secrets import SHORTEST
from solespan.api.services.accounts.sessions import session_cookie_name
from solespan.api.services.context import AppContext
from solespan.dashboards.cautions import FOR_WEARERS
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
Secret = Annotated[str, Path(max_length=100, pattern=r"^[A-Za-z0-9_-]+$")]


def _let_in(ctx: AppContext, answer: Response, secret: str) -> Response:
    name = session_cookie_name(ctx.settings)
    answer.set_cookie(
        name,
        secret,
        max_age=round(ctx.settings.session_days * 86400),
        path="/",
        secure=name.startswith("__Host-"),
        httponly=True,
        samesite="lax",
    )
    return answer


def _outside(
    request: Request, template: str, context: dict[str, Any], status: int = 200
) -> Response:
    """Fill a page for somebody who is not in yet; its address is told to nobody."""
    frame = {"shop_name": "solespan", "cautions": FOR_WEARERS}
    answer = page_answer(request, template, frame | context, status)
    answer.headers["referrer-policy"] = "no-referrer"
    return answer


def _inside(address: str) -> str:
    """Return an address of ours to go on to; the rack for any other."""
    fine = address.startswith("/") and not address.startswith(("//", "/\\", "/sign-in"))
    return address if fine else "/"


@router.get("/sign-in")
def read_sign_in(ctx: Context, request: Request, to: Words = "") -> Response:
    """Show the form to sign in."""
    if not ctx.settings.accounts:
        return back_to("/")
    return _outside(request, "accounts/sign_in.html", {"form": FormState(), "to": _inside(to)})


@router.post("/sign-in")
def sign_in_by_form(ctx: Context, request: Request, typed: Typed) -> Response:
    """Let a browser in, or show the form again with what is wrong."""
    to = _inside(typed.get("to", ""))
    try:
        refuse_foreign_form(request, typed)
        secret = sign_in.sign_in(
            ctx.database,
            email=typed.get("email", ""),
            password=typed.get("password", ""),
            address=request.client.host if request.client else "",
            now=ctx.clock.now(),
        )
    except SolespanError as error:
        form = FormState({"email": typed.get("email", "")}, {"": f"{error.what} {error.remedy}"})
        answer = _outside(request, "accounts/sign_in.html", {"form": form, "to": to}, error.status)
        if isinstance(error, sign_in.TooManyTries):
            answer.headers["retry-after"] = str(error.wait_s)
        return answer
    return _let_in(ctx, back_to(to), secret)


@router.post("/sign-out")
def sign_out_by_form(ctx: Context, request: Request, typed: Typed) -> Response:
    """End this browser's session."""
    refuse_foreign_form(request, typed)
    name = session_cookie_name(ctx.settings)
    sign_in.sign_out(ctx.database, request.cookies.get(name, ""))
    answer = back_to("/sign-in")
    answer.delete_cookie(name, secure=name.startswith("__Host-"), httponly=True, samesite="lax")
    # Not "storage": wears that wait there for a network may be of others on this device.
    answer.headers["clear-site-data"] = '"cache"'
    return answer


@router.get("/join/{secret}")
def read_invitation(ctx: Context, request: Request, secret: Secret) -> Response:
    """Show whom an invitation is for, and the form to choose a password or to say yes."""
    return _join_page(ctx, request, secret, FormState())


@router.post("/join/{secret}")
def accept_invitation(ctx: Context, request: Request, secret: Secret, typed: Typed) -> Response:
    """Make the person a member, with the password they chose or the one they have."""
    now = ctx.clock.now()
    try:
        refuse_foreign_form(request, typed)
        with ctx.database.reading() as session:
            invited = people.invitation_of(session, secret, now)
        author = Author(invited["email"], "POST /join/{secret}", {"role": invited["role"]})
        database = ctx.database.for_tenant(invited["tenant_pk"], author)
        with database.writing() as session:
            people.accept(
                session,
                secret=secret,
                password=typed.get("password", ""),
                now=now,
                signed_in_pk=_person_pk(request),
            )
    except SolespanError as error:
        return _join_page(
            ctx, request, secret, FormState({}, {error.where or "": error.what}), error.status
        )
    return back_to("/sign-in" if invited["person_pk"] is None else "/account")


def _person_pk(request: Request) -> int | None:
    who: Identity | None = request.state.identity
    return None if who is None else who.user_pk


def _join_page(
    ctx: AppContext, request: Request, secret: str, form: FormState, status: int = 200
) -> Response:
    with ctx.database.reading() as session:
        invited = people.invitation_of(session, secret, ctx.clock.now())
        tenants = {tenant["pk"]: tenant["name"] for tenant in list_tenants(session)}
    person_pk = invited["person_pk"]
    context = {
        "form": form,
        "email": invited["email"],
        "shop": tenants[invited["tenant_pk"]],
        "role": invited["role"],
        "shortest": SHORTEST,
        "has_password": person_pk is not None,
        "signed_in": person_pk is not None and person_pk == _person_pk(request),
        "here": request.url.path,
    }
    return _outside(request, "accounts/join.html", context, status)


@router.get("/open/{secret}")
def read_link(request: Request, secret: Secret) -> Response:  # noqa: ARG001 - in the form's address
    """Show the button behind which a customer's own pairs are."""
    return _outside(request, "accounts/open.html", {"shop_name": ""})


@router.post("/open/{secret}")
def open_link(ctx: Context, request: Request, secret: Secret, typed: Typed) -> Response:
    """Let a customer's browser in to their own pairs."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        mine, _ = tokens.open_link(session, secret, ctx.clock.now())
    return _let_in(ctx, back_to("/my"), mine)


@router.get("/account")
def read_account(ctx: Context, request: Request, who: Sender, done: Words = "") -> Response:
    """Show who one is here, the other tenants one may enter, and the password's form."""
    return _account_page(ctx, request, who.user_pk, who.actor, FormState(), done=done)


@router.post("/account/password")
def change_password(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Change one's own password; every other browser of the person is signed out."""
    try:
        refuse_foreign_form(request, typed)
        secret = sign_in.change_password(
            ctx.database,
            email=who.actor,
            old=typed.get("old", ""),
            new=typed.get("new", ""),
            tenant_pk=who.tenant_pk,
            now=ctx.clock.now(),
        )
    except SolespanError as error:
        form = FormState({}, {"": error.what})
        return _account_page(ctx, request, who.user_pk, who.actor, form, status=error.status)
    return _let_in(ctx, back_to("/account", done="password"), secret)


@router.post("/account/enter")
def enter_tenant(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Go on in another tenant of one's own."""
    refuse_foreign_form(request, typed)
    secret = sign_in.enter_tenant(
        ctx.database,
        user_pk=who.user_pk or 0,
        tenant_id=typed.get("tenant", ""),
        now=ctx.clock.now(),
    )
    sign_in.sign_out(ctx.database, request.cookies.get(session_cookie_name(ctx.settings), ""))
    return _let_in(ctx, back_to("/"), secret)


def _account_page(
    ctx: AppContext,
    request: Request,
    user_pk: int | None,
    actor: str,
    form: FormState,
    *,
    done: str = "",
    status: int = 200,
) -> Response:
    with ctx.database.reading() as session:
        tenants = [] if user_pk is None else tenants_of(session, user_pk)
    context = {
        "accounts": ctx.settings.accounts,
        "actor": actor,
        "tenants": [t | {"here": t["pk"] == ctx.database.tenant_pk} for t in tenants],
        "person": user_pk is not None,
        "form": form,
        "shortest": SHORTEST,
        "done": "The password is changed." if done == "password" else "",
    }
    return page_answer(request, "accounts/account.html", context, status)


PAGE = PageEntry(
    router,
    NavEntry("Your account", "/account", "shop", rare=True),
    templates=("accounts/account.html",),
    needs=(
        Need("/sign-in|/join/.*|/open/.*", "open", "open"),
        Need("/sign-out|/account(/.*)?", "signed in", "signed in"),
    ),
)
