"""Page routes of second factors: which has a person, and how is an authenticator added or removed?

Each change asks for the password. A seed and recovery codes are shown once, on an answer that no
browser keeps.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal
from urllib.parse import urlsplit

from fastapi import APIRouter, Request, Response

from solespan.api.errors import SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context, Sender
from solespan.api.routes.http.square_code import square_code
from solespan.api.services.accounts import second_factor, totp
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.accounts.passkeys import site_of
from solespan.api.services.context import AppContext

__all__ = ["DONE", "PAGE", "PATH", "factor_page", "issuer_of"]

router = APIRouter(route_class=PageRoute)
PATH = "/account/second-factor"
DONE = {
    "added": "The authenticator is added. Other browsers are signed out.",
    "removed": "The second factor is removed. Other browsers are signed out.",
    "passkey": "The passkey is added. Other browsers are signed out.",
}


@router.get(PATH)
def read_factors(ctx: Context, request: Request, who: Sender, done: Words = "") -> Response:
    """Show a person's authenticators, and the forms to add and remove one."""
    return factor_page(ctx, request, who, done=DONE.get(done, ""))


@router.post(f"{PATH}/{{what}}")
def change_factors(
    ctx: Context,
    request: Request,
    who: Sender,
    what: Literal["begin", "confirm", "remove", "codes"],
    typed: Typed,
) -> Response:
    """Do what a form asks; a seed or recovery codes are shown on the answer and never again."""
    try:
        refuse_foreign_form(request, typed)
        shown = _DO[what](ctx, who, typed)
    except SolespanError as error:
        problem = f"{error.what} {error.remedy}".strip()
        making = _making(ctx, who, typed) if what == "confirm" else {}
        return factor_page(ctx, request, who, problem=problem, status=error.status, **making)
    if shown.get("to"):
        return back_to(PATH, done=shown["to"])
    return factor_page(ctx, request, who, **shown)


def _begin(ctx: AppContext, who: Identity, typed: Mapping[str, str]) -> dict[str, Any]:
    made = second_factor.begin_enrolment(
        ctx.database, who, password=typed.get("password", ""), now=ctx.clock.now()
    )
    return _shown(ctx, who, made)


def _confirm(ctx: AppContext, who: Identity, typed: Mapping[str, str]) -> dict[str, Any]:
    codes = second_factor.confirm_enrolment(
        ctx.database,
        who,
        secret=typed.get("secret", ""),
        code=typed.get("code", ""),
        name=typed.get("name", ""),
        now=ctx.clock.now(),
    )
    return {"codes": codes, "done": DONE["added"]} if codes else {"to": "added"}


def _remove(ctx: AppContext, who: Identity, typed: Mapping[str, str]) -> dict[str, Any]:
    second_factor.remove_factor(
        ctx.database,
        who,
        password=typed.get("password", ""),
        factor_id=typed.get("factor_id", ""),
        now=ctx.clock.now(),
    )
    return {"to": "removed"}


def _codes(ctx: AppContext, who: Identity, typed: Mapping[str, str]) -> dict[str, Any]:
    given = typed.get("password", "")
    now = ctx.clock.now()
    return {"codes": second_factor.new_codes(ctx.database, who, password=given, now=now)}


_DO = {"begin": _begin, "confirm": _confirm, "remove": _remove, "codes": _codes}


def _making(ctx: AppContext, who: Identity, typed: Mapping[str, str]) -> dict[str, Any]:
    """Show the seed again after a wrong code, while there is time."""
    try:
        made = second_factor.enrolment_of(
            ctx.database, who, typed.get("secret", ""), ctx.clock.now()
        )
    except SolespanError:
        return {}
    return _shown(ctx, who, made)


def issuer_of(ctx: AppContext) -> str:
    """Return what an authenticator calls this service."""
    return urlsplit(ctx.settings.public_address or "").hostname or "solespan"


def _shown(ctx: AppContext, who: Identity, made: second_factor.Enrolment) -> dict[str, Any]:
    address = totp.address_of(made.seed, account=who.actor, issuer=issuer_of(ctx))
    return {
        "secret": made.secret,
        "seed": " ".join(made.seed[at : at + 4] for at in range(0, len(made.seed), 4)),
        "code": square_code(address),
    }


def factor_page(
    ctx: AppContext,
    request: Request,
    who: Identity,
    *,
    problem: str = "",
    status: int = 200,
    **shown: Any,
) -> Response:
    """Show a person's second factors, with a problem, or what is shown only once."""
    with ctx.database.reading() as session:
        mine = second_factor.overview(session, who.user_pk or 0)
    context: dict[str, Any] = {
        "accounts": ctx.settings.accounts and who.user_pk is not None,
        "must_enrol": who.must_enrol and not (mine["factors"] or mine["passkeys"]),
        "factors": [_in_days(row) for row in mine["factors"]],
        "passkeys": [_in_days(row) for row in mine["passkeys"]],
        "site": site_of(ctx.settings),
        "codes_left": mine["codes_left"],
        "problem": problem,
        "secret": "",
        "codes": [],
    }
    answer = page_answer(request, "accounts/second_factor.html", context | shown, status)
    answer.headers["cache-control"] = "no-store"
    return answer


def _in_days(row: Mapping[str, Any]) -> dict[str, Any]:
    used = row["used_at"].date().isoformat() if row["used_at"] else "never"
    return {**row, "made_at": row["made_at"].date().isoformat(), "used_at": used}


PAGE = PageEntry(router, under="/account", templates=("accounts/second_factor.html",))
