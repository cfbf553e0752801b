"""Page routes of passkeys: how does a browser add one, and come in by one?

A script asks for a question of ours, as JSON, lets the device answer it, and sends the answer as a
form. Without scripts a person uses an authenticator.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request, Response

from solespan.api.errors import SolespanError
from solespan.api.routes.accounts.cookies import browser_of
from solespan.api.routes.accounts.factor_pages import DONE, PATH, factor_page
from solespan.api.routes.accounts.sign_in_pages import entered_by, inside, outside
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    TOKEN,
    PageRoute,
    Typed,
    back_to,
    read_cookie,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context, Sender, json_answer
from solespan.api.services.accounts import passkey_sign_in, passkeys, sign_in
from solespan.api.services.accounts.sessions import step_cookie_name
from solespan.api.services.context import AppContext
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)


@router.post("/account/passkeys/question")
def begin_passkey(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Answer what a browser needs to make a passkey; the password is asked again."""
    try:
        refuse_foreign_form(request, typed)
        question = passkeys.begin_passkey(
            ctx.database,
            who,
            passkeys.needed_site(ctx.settings),
            password=typed.get("password", ""),
            now=ctx.clock.now(),
        )
    except SolespanError as error:
        return _problem(error)
    return _question(question)


@router.post("/account/passkeys")
def add_passkey(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Keep the passkey that a device made; first recovery codes are shown on the answer."""
    try:
        refuse_foreign_form(request, typed)
        codes = passkeys.add_passkey(
            ctx.database,
            who,
            passkeys.needed_site(ctx.settings),
            answer=typed.get("credential", ""),
            name=typed.get("name", ""),
            now=ctx.clock.now(),
        )
    except SolespanError as error:
        problem = f"{error.what} {error.remedy}".strip()
        return factor_page(ctx, request, who, problem=problem, status=error.status)
    if codes:
        return factor_page(ctx, request, who, codes=codes, done=DONE["passkey"])
    return back_to(PATH, done="passkey")


@router.post("/sign-in/passkey/question")
def ask_for_passkey(ctx: Context, request: Request, typed: Typed) -> Response:
    """Answer what a browser needs to let a passkey sign."""
    try:
        refuse_foreign_form(request, typed)
        question = passkey_sign_in.ask(
            ctx.database,
            passkeys.needed_site(ctx.settings),
            step=_step(ctx, request, typed),
            browser_secret=read_cookie(request, TOKEN),
            now=ctx.clock.now(),
        )
    except SolespanError as error:
        return _problem(error)
    return _question(question)


@router.post("/sign-in/passkey")
def sign_in_by_passkey(ctx: Context, request: Request, typed: Typed) -> Response:
    """Let a browser in by a passkey, or show the form again with what is wrong."""
    to, step = inside(typed.get("to", "")), _step(ctx, request, typed)
    try:
        refuse_foreign_form(request, typed)
        site = passkeys.needed_site(ctx.settings)
        given: dict[str, Any] = {
            "answer": typed.get("credential", ""),
            "browser": browser_of(ctx, request),
            "now": ctx.clock.now(),
        }
        entered = (
            passkey_sign_in.enter_with_passkey(
                ctx.database, site, browser_secret=read_cookie(request, TOKEN), **given
            )
            if step is None
            else passkey_sign_in.finish_with_passkey(ctx.database, site, step=step, **given)
        )
    except SolespanError as error:
        code = step is not None and not isinstance(error, sign_in.StepOver)
        shown = {"form": FormState({}, {"": f"{error.what} {error.remedy}"}), "to": to}
        template = f"accounts/{'code' if code else 'sign_in'}.html"
        return outside(ctx, request, template, shown, error.status)
    return entered_by(ctx, request, entered, to)


def _step(ctx: AppContext, request: Request, typed: Mapping[str, str]) -> str | None:
    """Return the secret of a password that went before, where the form follows one."""
    if not typed.get("after_password"):
        return None
    return request.cookies.get(step_cookie_name(ctx.settings), "")


def _question(text: str) -> Response:
    headers = {"cache-control": "no-store"}
    return Response(text, media_type="application/json", headers=headers)


def _problem(error: SolespanError) -> Response:
    """Tell a script, in words for the person, what is wrong."""
    return json_answer({"problem": f"{error.what} {error.remedy}".strip()}, error.status)


PAGE = PageEntry(router, needs=(Need("/sign-in/passkey(/question)?", "open", "open"),))
