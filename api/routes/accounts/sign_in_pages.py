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
from solespan.api.notices.languages import language_of
from solespan.api.routes.accounts.cookies import browser_of, keep_device, keep_step, let_in
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    over_tls,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context
from solespan.api.services.accounts import people, sign_in, tokens
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.accounts.passkeys import site_of
from solespan.api.services.accounts.people import list_tenants
from solespan.api.services.accounts.secrets import SHORTEST
from solespan.api.services.accounts.sessions import session_cookie_name, step_cookie_name
from solespan.api.services.context import AppContext
from solespan.dashboards.cautions import FOR_WEARERS
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE", "entered_by", "inside", "outside"]

router = APIRouter(route_class=PageRoute)
Secret = Annotated[str, Path(max_length=100, pattern=r"^[A-Za-z0-9_-]+$")]


def outside(
    ctx: AppContext, request: Request, template: str, context: dict[str, Any], status: int = 200
) -> Response:
    """Fill a page for somebody who is not in yet; its address is told to nobody."""
    frame = {
        "shop_name": "solespan",
        "cautions": FOR_WEARERS,
        "site": site_of(ctx.settings),
    }
    answer = page_answer(request, template, frame | context, status)
    answer.headers["referrer-policy"] = "no-referrer"
    return answer


def inside(address: str) -> str:
    """Return an address of ours to go on to; the rack for any other."""
    fine = address.startswith("/") and not address.startswith(("//", "/\\", "/sign-in"))
    return address if fine else "/"


@router.get("/sign-in")
def read_sign_in(ctx: Context, request: Request, to: Words = "") -> Response:
    """Show the form to sign in."""
    if not ctx.settings.accounts:
        return back_to("/")
    return outside(ctx, request, "accounts/sign_in.html", {"form": FormState(), "to": inside(to)})


@router.post("/sign-in")
def sign_in_by_form(ctx: Context, request: Request, typed: Typed) -> Response:
    """Let a browser in, or show the form again with what is wrong."""
    to = inside(typed.get("to", ""))
    try:
        refuse_foreign_form(request, typed)
        entered = sign_in.sign_in(
            ctx.database,
            email=typed.get("email", ""),
            password=typed.get("password", ""),
            browser=browser_of(ctx, request),
            now=ctx.clock.now(),
        )
    except SolespanError as error:
        form = FormState({"email": typed.get("email", "")}, {"": f"{error.what} {error.remedy}"})
        answer = outside(
            ctx, request, "accounts/sign_in.html", {"form": form, "to": to}, error.status
        )
        if isinstance(error, sign_in.TooManyTries):
            answer.headers["retry-after"] = str(error.wait_s)
        return answer
    if isinstance(entered, sign_in.CodeNeeded):
        return keep_step(ctx, request, back_to("/sign-in/code", to=to), entered.step)
    return entered_by(ctx, request, entered, to)


def entered_by(ctx: AppContext, request: Request, entered: sign_in.Entered, to: str) -> Response:
    """Let a browser in, and send it on; its password needs nothing more."""
    answer = back_to(to)
    keep_device(ctx, request, answer, entered.device)
    name = step_cookie_name(ctx.settings)
    if name in request.cookies:
        answer.delete_cookie(name, secure=over_tls(request), httponly=True, samesite="lax")
    return let_in(ctx, request, answer, entered.session)


@router.get("/sign-in/code")
def read_code(ctx: Context, request: Request, to: Words = "") -> Response:
    """Show the form for the code that follows the password."""
    step = request.cookies.get(step_cookie_name(ctx.settings), "")
    if not sign_in.code_is_due(ctx.database, step, ctx.clock.now()):
        return back_to("/sign-in", to=inside(to))
    return outside(ctx, request, "accounts/code.html", {"form": FormState(), "to": inside(to)})


@router.post("/sign-in/code")
def finish_sign_in(ctx: Context, request: Request, typed: Typed) -> Response:
    """Let a browser in by its code, or show the form again with what is wrong."""
    to = inside(typed.get("to", ""))
    name = step_cookie_name(ctx.settings)
    try:
        refuse_foreign_form(request, typed)
        entered = sign_in.finish_sign_in(
            ctx.database,
            step=request.cookies.get(name, ""),
            code=typed.get("code", ""),
            browser=browser_of(ctx, request),
            now=ctx.clock.now(),
        )
    except sign_in.StepOver as error:
        form = FormState({}, {"": f"{error.what} {error.remedy}"})
        return outside(
            ctx, request, "accounts/sign_in.html", {"form": form, "to": to}, error.status
        )
    except SolespanError as error:
        form = FormState({}, {"": f"{error.what} {error.remedy}"})
        answer = outside(ctx, request, "accounts/code.html", {"form": form, "to": to}, error.status)
        if isinstance(error, sign_in.TooManyTries):
            answer.headers["retry-after"] = str(error.wait_s)
        return answer
    return entered_by(ctx, request, entered, to)


@router.post("/sign-out")
def sign_out_by_form(ctx: Context, request: Request, typed: Typed) -> Response:
    """End this browser's session."""
    refuse_foreign_form(request, typed)
    name = session_cookie_name(ctx.settings)
    sign_in.sign_out(ctx.database, request.cookies.get(name, ""))
    answer = back_to("/sign-in")
    answer.delete_cookie(name, secure=over_tls(request), httponly=True, samesite="lax")
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
    return outside(ctx, request, "accounts/join.html", context, status)


@router.get("/open/{secret}")
def read_link(
    ctx: Context,
    request: Request,
    secret: Secret,  # noqa: ARG001 - in the form's address
) -> Response:
    """Show the button behind which a customer's own pairs are."""
    # whose it is stays unsaid until the button is pressed, so the browser says the language
    language = language_of(request.headers.get("accept-language"))
    return outside(ctx, request, "accounts/open.html", {"shop_name": "", "language": language})


@router.post("/open/{secret}")
def open_link(ctx: Context, request: Request, secret: Secret, typed: Typed) -> Response:
    """Let a customer's browser in to their own pairs."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        mine, _ = tokens.open_link(session, secret, ctx.clock.now())
    return let_in(ctx, request, back_to("/my"), mine)


PAGE = PageEntry(
    router,
    needs=(
        Need("/sign-in(/code)?|/join/.*|/open/.*", "open", "open"),
        Need("/sign-out", "signed in", "signed in"),
    ),
)
