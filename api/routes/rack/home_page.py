"""Home page: what does a browser get of the whole rack?"""

from __future__ import annotations

from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response

from solespan.api.routes.http import Context
from solespan.api.routes.page_entry import PageEntry
from solespan.api.routes.page_http import PageRoute, Words, page_answer
from solespan.api.services.rack.rack_page import rack_context
from solespan.dashboards.navigation import NavEntry

__all__ = ["PAGE"]

DONE = {
    "wear": "The wear is logged.",
    "already": "This day was logged already; nothing changed.",
    "changed": "The wear is changed.",
    "undone": "The wear is taken back.",
    "removed": "The pair and its log are deleted.",
    "example": "The example rack is on your rack now. Forecasts follow in a moment.",
    "no-example": "The example rack is removed; your own pairs are as they were.",
}
router = APIRouter(route_class=PageRoute)


@router.get("/")
def read_rack(
    ctx: Context,
    request: Request,
    wearer: Words = "",
    band: Words = "",
    q: Words = "",
    logged: Words = "",
    on: Words = "",
    done: Words = "",
) -> Response:
    """Show what to wear today, and all pairs, the one to send first at the top."""
    context = rack_context(ctx, wearer, band, q, (logged, on))
    chosen = {"wearer": wearer, "band": band, "q": q}
    kept = urlencode({name: value for name, value in chosen.items() if value})
    query = f"?{kept}" if kept else ""
    return page_answer(
        request, "rack/rack.html", context | {"query": query, "done": DONE.get(done, "")}
    )


PAGE = PageEntry(router, NavEntry("Rack", "/", first=True), templates=("rack/rack.html",))
