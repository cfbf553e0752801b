"""Page routes of people: which page shows who has access, and what happens to its forms?"""

from __future__ import annotations

from typing import Literal
from urllib.parse import quote

from fastapi import APIRouter, Request, Response

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
from solespan.api.services.accounts.page import do_form, people_page, subject_of
from solespan.api.services.context import AppContext
from solespan.dashboards.navigation import NavEntry

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)


@router.get("/people")
def read_people(ctx: Context, request: Request) -> Response:
    """Show members, keys, customers' links and the last changes."""
    return _page(ctx, request)


@router.get("/people/customer")
def find_customer(wearer: Words = "") -> Response:
    """Go on to the page of what is kept of a customer."""
    return back_to(f"/customers/{quote(wearer, safe='')}" if wearer else "/people")


@router.post("/people/{what}")
def change_people(
    ctx: Context,
    request: Request,
    who: Sender,
    what: Literal[
        "invite",
        "withdraw",
        "remove",
        "sign-out",
        "reset-factor",
        "second-factor",
        "token",
        "revoke",
        "link",
    ],
    typed: Typed,
) -> Response:
    """Do what a form asks; a secret it made is shown on the answer and never again."""
    try:
        refuse_foreign_form(request, typed)
        with ctx.database.about(**subject_of(what, typed)).writing() as session:
            here = str(request.base_url).rstrip("/")
            shown = do_form(ctx, session, who, what, typed, here=here)
    except SolespanError as error:
        said = f"{error.what} {error.remedy}"
        return _page(ctx, request, problem=said, status=error.status)
    if shown is None:
        return back_to("/people")
    answer = _page(ctx, request, shown=shown)
    answer.headers["cache-control"] = "no-store"
    return answer


def _page(
    ctx: AppContext,
    request: Request,
    *,
    shown: dict[str, str] | None = None,
    problem: str = "",
    status: int = 200,
) -> Response:
    with ctx.database.reading() as session:
        context = people_page(ctx, session)
    return page_answer(
        request, "accounts/people.html", context | {"shown": shown, "problem": problem}, status
    )


PAGE = PageEntry(
    router,
    NavEntry("Members and keys", "/people", "settings", rare=True),
    templates=("accounts/people.html",),
    needs=(Need("/people(/.*)?", "manage", "manage"),),
)
