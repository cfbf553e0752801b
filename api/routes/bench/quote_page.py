"""Page routes of quotes: how does the bench see the quote of a job, and take the customer's yes?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NothingForecast
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    back_to,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context
from solespan.api.services.bench.found_orders import describe
from solespan.api.services.bench.quotes import AGREED_IN, agree, quote_pair
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import current_revision_id
from solespan.api.services.rack.records import find_record
from solespan.dashboards.pages.bench.quote import quote_page
from solespan.forecast.frames import WORKS

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)


@router.get("/bench/{order_id}/quote")
def read_quote_page(ctx: Context, request: Request, order_id: str) -> HTMLResponse:
    """Show what a job's pair needs, the ways to it, what was found, and its layers.

    Works ticked below the ways are quoted as one visit.
    """
    chosen = [work for work in WORKS if request.query_params.get(f"works_{work}") == "true"]
    return _answer(ctx, request, order_id, chosen=chosen)


@router.post("/bench/{order_id}/quote")
def agree_to_way(ctx: Context, request: Request, order_id: str, typed: Typed) -> Response:
    """Take the customer's yes to one way: the order follows."""
    refuse_foreign_form(request, typed)
    try:
        with ctx.database.writing() as session:
            works, version = typed.get("works", "").split(), typed.get("version", "")
            order = agree(session, order_id, works, _whole(version), ctx.clock)
            ctx.forecaster.update_owner(session, order["pair_id"])
            undo = current_revision_id()
    except Conflict as conflict:
        return _answer(ctx, request, order_id, problem=told(conflict), status=conflict.status)
    return back_to(f"/bench/{quote(order_id, safe='')}", done="agreed", undo=undo)


def _whole(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 10 else 0


def _answer(
    ctx: AppContext,
    request: Request,
    order_id: str,
    *,
    chosen: Sequence[str] = (),
    problem: str = "",
    status: int = 200,
) -> HTMLResponse:
    with ctx.database.reading() as session:
        order = describe(session, order_id)
        pair = find_record(session, "pairs", {"pair_id": order["pair_id"]}) or {}
        name = pair.get("label") or order["pair_id"]
        try:
            quoted = _quoted(session, order["pair_id"], chosen)
        except NothingForecast as nothing:
            quoted, problem = _NOTHING, problem or told(nothing)
    problem = problem or quoted.get("clash", "")
    page = quote_page(order, name, quoted, chosen=chosen, open_=order["stage"] in AGREED_IN)
    return page_answer(request, "bench/quote.html", page | {"problem": problem}, status)


def _quoted(session: Session, pair_id: str, chosen: Sequence[str]) -> dict[str, Any]:
    try:
        return quote_pair(session, pair_id, None, works=chosen)
    except Conflict as clash:
        return quote_pair(session, pair_id, None) | {"clash": told(clash)}


_NOTHING: dict[str, Any] = {
    "alternatives": [],
    "chosen": None,
    "needed": [],
    "depends_on": [],
    "findings": [],
    "layers": [],
    "wear_days_left": {},
    "currency": "",
    "minutes_from": "nothing: there is no forecast",
}

PAGE = PageEntry(router, templates=("bench/quote.html",))
