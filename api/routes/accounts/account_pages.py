"""Page routes of account: which page shows one's own account, and what do its forms change?"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from solespan.api.errors import SolespanError
from solespan.api.routes.accounts.cookies import browser_of, let_in
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
from solespan.api.services.accounts import second_factor, sessions, sign_in
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.accounts.people import tenants_of
from solespan.api.services.accounts.secrets import SHORTEST
from solespan.api.services.context import AppContext
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
OTHERS = "others"
DONE = {
    "password": "The password is changed.",
    "session": "That browser is signed out.",
    "others": "Every other browser is signed out.",
}


@router.get("/account")
def read_account(ctx: Context, request: Request, who: Sender, done: Words = "") -> Response:
    """Show who one is here, where one is signed in, one's tenants, and the password's form."""
    return _account_page(ctx, request, who, FormState(), done=done)


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
            browser=browser_of(ctx, request),
            now=ctx.clock.now(),
            end_tokens="end_tokens" in typed,
        )
    except SolespanError as error:
        form = FormState({}, {"": error.what})
        return _account_page(ctx, request, who, form, status=error.status)
    return let_in(ctx, request, back_to("/account", done="password"), secret)


@router.post("/account/enter")
def enter_tenant(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Go on in another tenant of one's own."""
    refuse_foreign_form(request, typed)
    secret = sign_in.enter_tenant(
        ctx.database,
        user_pk=who.user_pk or 0,
        tenant_id=typed.get("tenant", ""),
        browser=browser_of(ctx, request),
        now=ctx.clock.now(),
    )
    name = sessions.session_cookie_name(ctx.settings)
    sign_in.sign_out(ctx.database, request.cookies.get(name, ""))
    return let_in(ctx, request, back_to("/"), secret)


@router.post("/account/sessions")
def end_sessions(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Sign out one other browser of the person, or all others."""
    refuse_foreign_form(request, typed)
    ended = typed.get("end", "")
    with ctx.database.about(session_id=ended[:200]).writing() as session:
        if ended == OTHERS:
            sessions.end_other_sessions(session, who)
        else:
            sessions.end_own_session(session, who, ended)
    return back_to("/account", done=OTHERS if ended == OTHERS else "session")


def _account_page(
    ctx: AppContext,
    request: Request,
    who: Identity,
    form: FormState,
    *,
    done: str = "",
    status: int = 200,
) -> Response:
    now, limits = ctx.clock.now(), sessions.session_limits(ctx.settings)
    person = who.user_pk is not None
    with ctx.database.reading() as session:
        tenants = tenants_of(session, who.user_pk) if who.user_pk is not None else []
        mine = sessions.own_sessions(session, who, now, limits) if person else []
        has_factor = second_factor.has_factor(session, who.user_pk or 0)
    context: dict[str, Any] = {
        "accounts": ctx.settings.accounts,
        "actor": who.actor,
        "tenants": [t | {"here": t["pk"] == ctx.database.tenant_pk} for t in tenants],
        "person": person,
        "sessions": [
            row | {name: row[name].strftime("%Y-%m-%d %H:%M") for name in ("begun_at", "used_at")}
            for row in mine
        ],
        "has_factor": has_factor,
        "form": form,
        "shortest": SHORTEST,
        "done": DONE.get(done, ""),
    }
    return page_answer(request, "accounts/account.html", context, status)


PAGE = PageEntry(
    router,
    NavEntry("Your account", "/account", "settings", rare=True),
    templates=("accounts/account.html",),
    needs=(Need("/account(/.*)?", "signed in", "signed in"),),
)
