"""Page routes of desk: what does a shop's home show, and how is an answer marked as seen?

The home is the day of a shop to its staff, and to others the rack. An address that narrows the rack
shows the rack.
"""

from __future__ import annotations

from dataclasses import fields

from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    number_of,
    page_answer,
    read_cookie,
    refuse_foreign_form,
    shows_shop,
)
from solespan.api.routes.http.requests import Context
from solespan.api.routes.rack.home_page import DONE as RACK_DONE
from solespan.api.routes.rack.home_page import HOME, rack_answer
from solespan.api.services.bench.desk.shop_day import mark_seen, shop_day
from solespan.api.services.context import AppContext
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.bench.shop_day import shop_day_page

__all__ = ["PAGE"]

ADDRESS = "/desk"
DONE = {"seen": "The answer is seen."}
router = APIRouter(route_class=PageRoute)


@router.get("/")
def read_home(
    ctx: Context,
    request: Request,
    wearer: Words = "",
    band: Words = "",
    q: Words = "",
    order: Words = "",
    page: Words = "",
    logged: Words = "",
    on: Words = "",
    done: Words = "",
) -> Response:
    """Show the day of a shop to its staff, and to others the rack."""
    asked_of_rack = any((wearer, band, q, order, page, logged))
    if shows_shop(request) and not asked_of_rack and read_cookie(request, HOME) != "rack":
        return _shop_day(ctx, request, done=RACK_DONE.get(done, ""))
    chosen = {"wearer": wearer, "band": band, "q": q, "order": order}
    return rack_answer(ctx, request, chosen, page, (logged, on), done)


@router.get(ADDRESS)
def read_desk(
    ctx: Context, request: Request, only: Words = "", page: Words = "", done: Words = ""
) -> Response:
    """Show the shop's day, or one of its lists page by page."""
    return _shop_day(ctx, request, only=only, page=page, done=DONE.get(done, ""))


@router.post("/desk/seen")
def mark_answer_seen(ctx: Context, request: Request, typed: Typed) -> Response:
    """Take an answer off the list of the day; the notice keeps it."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        mark_seen(ctx, session, typed.get("notice", ""))
    return back_to(ADDRESS, only="answers" if typed.get("only") else "", done="seen")


def _shop_day(
    ctx: AppContext, request: Request, *, only: str = "", page: str = "", done: str = ""
) -> Response:
    number = number_of(page)
    seen = shop_day(ctx, number if only == "ask" else 1)
    first = read_cookie(request, HOME)
    values = {field.name: getattr(seen, field.name) for field in fields(seen)}
    context = shop_day_page(
        **values, first="bench" if first == "bench" else "desk", only=only, page=number
    )
    who = request.state.identity
    context |= {"done": done, "owner": who is not None and "manage" in who.may}
    return page_answer(request, "bench/shop_day.html", context)


PAGE = PageEntry(
    router,
    NavEntry("Today", ADDRESS, "shop", first=True),
    templates=("bench/shop_day.html",),
    needs=(Need("/desk/seen", "read", "notices"),),
)
