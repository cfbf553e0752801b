"""Page routes of the stock.

How does a browser keep the stock book: what is there, what comes and goes, what to order?
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from solespan.api.errors import NothingForecast, SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.schemas.bench.stock import USES
from solespan.api.schemas.forms import FormProblem
from solespan.api.services.bench import stock
from solespan.api.services.bench.stock import find_item, list_items
from solespan.api.services.bench.stock_forms import as_supplied, read_item_form, read_line_form
from solespan.api.services.context import AppContext
from solespan.dashboards.pages.bench.stock import stock_page
from solespan.dashboards.pages.rack.pair import FormState
from solespan.forecast.frames import MATERIALS

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
DONE = {"kept": "That item is kept.", "line": "That line is written."}


@router.get("/stock")
def read_stock(ctx: Context, request: Request, done: Words = "") -> Response:
    """Show what is there, what to order, and the forms of the book."""
    return _page(ctx, request, done=DONE.get(done, ""))


@router.post("/stock")
def keep_item(ctx: Context, request: Request, typed: Typed) -> Response:
    """Keep an item, or change how it is supplied."""
    try:
        refuse_foreign_form(request, typed)
        item_id, item = read_item_form(typed)
        with ctx.database.writing() as session:
            stock.put_item(session, item_id, as_supplied(item, find_item(session, item_id)))
    except FormProblem as problem:
        return _page(ctx, request, item=FormState(typed, problem.errors))
    except SolespanError as error:
        return _page(ctx, request, problem=told(error), item=FormState(typed))
    return back_to("/stock", done="kept")


@router.post("/stock/line")
def write_line(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Write a receipt, a use or a count."""

    def work(session: Session) -> dict[str, Any]:
        stock.move_stock(session, typed.get("item_id", ""), line)
        return {}

    try:
        refuse_foreign_form(request, typed)
        line = read_line_form(typed)
        do_once(ctx, key, "POST /stock/line", typed, work)
    except FormProblem as problem:
        return _page(ctx, request, line=FormState(typed, problem.errors))
    except SolespanError as error:
        return _page(ctx, request, problem=told(error), line=FormState(typed))
    return back_to("/stock", done="line")


def _page(
    ctx: AppContext,
    request: Request,
    *,
    done: str = "",
    problem: str = "",
    item: FormState | None = None,
    line: FormState | None = None,
) -> Response:
    with ctx.database.reading() as session:
        items = list_items(session)
    today = ctx.clock.today()
    advice, missing = [], ""
    if items:
        try:
            advice = stock.advice(ctx.database, today)
        except NothingForecast as nothing:
            missing = nothing.what
    context = stock_page(
        items, advice, today=today, missing=missing, uses=USES, materials=MATERIALS
    )
    forms = {"item_form": item or FormState(), "line_form": line or FormState()}
    wrong = bool(problem or item or line)
    return page_answer(
        request,
        "bench/stock.html",
        context | forms | {"done": done, "problem": problem},
        422 if wrong else 200,
    )


PAGE = PageEntry(router, under="/workload", templates=("bench/stock.html",))
