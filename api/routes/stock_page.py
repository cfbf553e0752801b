"""How does a browser keep the stock book: what is there, what comes and goes, what to order?"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from api.errors import NothingForecast, SolespanError
from api.routes.http import IdempotencyKey, Serving
from api.routes.page_http import (
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    refuse_foreign_form,
    told,
)
from api.schemas.stock import USES
from api.services import stock
from api.services.page_forms import FormProblem
from api.services.stock_forms import as_supplied, read_item_form, read_line_form
from api.storage.stock import find_item, list_items
from api.wiring import Services
from dashboards.pages.pair import FormState
from dashboards.pages.stock import stock_page
from forecast.frames import MATERIALS

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)
DONE = {"kept": "That item is kept.", "line": "That line is written."}


@router.get("/stock")
def read_stock(serving: Serving, request: Request, done: Words = "") -> Response:
    """Show what is there, what to order, and the forms of the book."""
    return _page(serving, request, done=DONE.get(done, ""))


@router.post("/stock")
def keep_item(serving: Serving, request: Request, typed: Typed) -> Response:
    """Keep an item, or change how it is supplied."""
    try:
        refuse_foreign_form(request, typed)
        item_id, item = read_item_form(typed)
        with serving.database.writing() as session:
            stock.put_item(session, item_id, as_supplied(item, find_item(session, item_id)))
    except FormProblem as problem:
        return _page(serving, request, item=FormState(typed, problem.errors))
    except SolespanError as error:
        return _page(serving, request, problem=told(error), item=FormState(typed))
    return back_to("/stock", done="kept")


@router.post("/stock/line")
def write_line(serving: Serving, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Write a receipt, a use or a count."""

    def work(session: Session) -> dict[str, Any]:
        stock.move_stock(session, typed.get("item_id", ""), line)
        return {}

    try:
        refuse_foreign_form(request, typed)
        line = read_line_form(typed)
        do_once(serving, key, "POST /stock/line", typed, work)
    except FormProblem as problem:
        return _page(serving, request, line=FormState(typed, problem.errors))
    except SolespanError as error:
        return _page(serving, request, problem=told(error), line=FormState(typed))
    return back_to("/stock", done="line")


def _page(
    serving: Services,
    request: Request,
    *,
    done: str = "",
    problem: str = "",
    item: FormState | None = None,
    line: FormState | None = None,
) -> Response:
    with serving.database.reading() as session:
        items = list_items(session)
    today = serving.clock.today()
    advice, missing = [], ""
    if items:
        try:
            advice = stock.advice(serving.database, today)
        except NothingForecast as nothing:
            missing = nothing.what
    context = stock_page(
        items, advice, today=today, missing=missing, uses=USES, materials=MATERIALS
    )
    forms = {"item_form": item or FormState(), "line_form": line or FormState()}
    wrong = bool(problem or item or line)
    return page_answer(
        request,
        "stock.html",
        context | forms | {"done": done, "problem": problem},
        422 if wrong else 200,
    )
