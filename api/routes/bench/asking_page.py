"""Page routes of asking: whom would the year's plan ask and why, and whom does it leave out?"""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from solespan.api.errors import NothingForecast
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import PageRoute, Words, page_answer
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.bench.asking import WHY
from solespan.api.services.bench.asking import asked_body
from solespan.dashboards.pages.bench.asking import asking_page

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
MOST_SHOWN = 100


@router.get("/workload/asked")
def read_asked(ctx: Context, request: Request, why: Words = "") -> HTMLResponse:
    """Show who would be asked, who not, and why, before anything is sent."""
    try:
        told = asked_body(ctx.database, ctx.clock, None, MOST_SHOWN)
    except NothingForecast as nothing:
        return page_answer(request, "bench/asking.html", {"missing": nothing.what})
    left_out = []
    if why in WHY:
        left_out = asked_body(ctx.database, ctx.clock, why, MOST_SHOWN)["items"]
    context = asking_page(told, left_out, why if why in WHY else "") | {"missing": ""}
    return page_answer(request, "bench/asking.html", context)


PAGE = PageEntry(router, under="/workload", templates=("bench/asking.html",))
