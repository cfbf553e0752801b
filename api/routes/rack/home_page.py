"""Rack page routes: what does a browser get of the whole rack, and which page comes first?

The rack is the home of a collector. A shop's staff have it at an address of its own.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    SHOP,
    PageRoute,
    Typed,
    Words,
    back_to,
    number_of,
    page_answer,
    read_cookie,
    refuse_foreign_form,
    set_cookie,
)
from solespan.api.routes.http.requests import Context
from solespan.api.routes.rack.today_pages import DAY
from solespan.api.services.context import AppContext
from solespan.api.services.rack.rack_page import MOST_PEOPLE, RackAsked, rack_seen
from solespan.dashboards.navigation import RACK, NavEntry
from solespan.dashboards.pages.rack.rack import (
    ORDERS,
    PAIRS_A_PAGE,
    RackList,
    rack_page,
    search_for,
)
from solespan.dashboards.pages.rack.today import DayChoice, today_panel

__all__ = ["DONE", "HOME", "PAGE", "rack_answer"]

DONE = {
    "wear": "The wear is logged.",
    "already": "This day was logged already; nothing changed.",
    "changed": "The wear is changed.",
    "undone": "The wear is taken back.",
    "removed": "The pair and its log are deleted.",
    "example": "The example rack is on your rack now. Forecasts follow in a moment.",
    "no-example": "The example rack is removed; your own pairs are as they were.",
}
SHOP_KEPT_S = 400 * 86_400  # the longest that browsers keep a cookie
HOME = "first_page"  # the cookie that says with what this browser begins
HOMES = ("desk", "bench", "rack")
router = APIRouter(route_class=PageRoute)


@router.get(RACK)
def read_rack(
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
    """Show the rack where the shop's day is the home."""
    chosen = {"wearer": wearer, "band": band, "q": q, "order": order}
    return rack_answer(ctx, request, chosen, page, (logged, on), done)


def rack_answer(
    ctx: AppContext,
    request: Request,
    chosen: dict[str, str],
    page: str,
    logged: tuple[str, str],
    done: str,
) -> Response:
    """Answer what to wear today, and the pairs, the one to send first at the top."""
    order = chosen["order"] if chosen["order"] in ORDERS else ""
    wearer, band, q = (chosen[name] for name in ("wearer", "band", "q"))
    asked = RackAsked(PAIRS_A_PAGE, number_of(page), wearer, band, search_for(q), order)
    context = _rack_context(ctx, asked, q, logged, read_cookie(request, DAY))
    chosen = chosen | {"order": order}
    number, last = context["page"], context["pages"]

    def at(its_number: int) -> str:
        return _query(chosen | {"page": str(its_number) if its_number > 1 else ""})

    context |= {
        "query": at(number),
        "narrowed": _query(chosen),
        "before": at(number - 1) if number > 1 else None,
        "after": at(number + 1) if number < last else None,
        "done": DONE.get(done, ""),
        "rack_at": RACK if request.url.path == RACK else "/",
    }
    return page_answer(request, "rack/rack.html", context)


@router.post("/shop-pages")
def choose_shop_pages(request: Request, typed: Typed) -> Response:
    """Show the shop's pages in this browser's navigation, or leave them out."""
    refuse_foreign_form(request, typed)
    show = typed.get("show") == "on"
    answer = back_to("/")
    set_cookie(request, answer, SHOP, "on" if show else "off", max_age_s=SHOP_KEPT_S)
    return answer


@router.post("/first-page")
def choose_first_page(request: Request, typed: Typed) -> Response:
    """Let this browser begin with the desk's lists, the bench's queue, or the rack."""
    refuse_foreign_form(request, typed)
    chosen = typed.get("first", "")
    answer = back_to("/")
    set_cookie(request, answer, HOME, chosen if chosen in HOMES else "", max_age_s=SHOP_KEPT_S)
    return answer


def _rack_context(
    ctx: AppContext, asked: RackAsked, search: str, logged: tuple[str, str], day_choice: str
) -> dict[str, Any]:
    seen = rack_seen(ctx, asked, logged, day_choice)
    own, part = seen.own, seen.part
    names = [(wearer_id, name or wearer_id) for wearer_id, name in seen.people]
    whole = RackList(
        bands=part.bands,
        total=seen.total,
        wearers=sorted(names, key=lambda one: one[1].casefold()),
        many_wearers=len(names) > MOST_PEOPLE,
        wearer_id=asked.wearer_id,
        band=asked.band,
        search=search,
        order=asked.order,
        page=part.page,
        pages=part.pages,
    )
    page = rack_page(
        seen.forecast,
        seen.pairs,
        seen.wearers,
        today=seen.today,
        whole=whole,
        worn_today=seen.worn_today,
        verdicts=seen.verdicts,
        horizon_days=ctx.settings.horizon_days,
    )
    panel = own and today_panel(
        own.forecast,
        own.pairs,
        own.wear_days,
        today=seen.today,
        plan=own.plan,
        reasons=own.reasons,
        day=DayChoice(
            code=own.code,
            wet=own.day.wet,
            skipped=own.day.skipped,
            rubber=own.rubber,
            chosen=own.day.code is not None,
        ),
    )
    return page | {
        "one": own.wearer_id if own else "",
        "today": panel,
        "logged": seen.logged,
        "today_iso": f"{seen.today:%Y-%m-%d}",
    }


def _query(chosen: dict[str, str]) -> str:
    kept = urlencode({name: value for name, value in chosen.items() if value})
    return f"?{kept}" if kept else ""


PAGE = PageEntry(router, NavEntry("Rack", "/", first=True), templates=("rack/rack.html",))
