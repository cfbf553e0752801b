"""Page routes of the stock.

How does a browser keep the stock book: what is there, what comes and goes, what to order?
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
from solespan.api.schemas.edition import ChangedMeanwhile, with_edition
from solespan.api.schemas.forms import FormProblem
from solespan.api.services.bench import purchases, stock, stock_advice
from solespan.api.services.bench.stock import find_item, list_items
from solespan.api.services.bench.stock_forms import (
    as_supplied,
    read_item_form,
    read_line_form,
    read_purchase_form,
    read_receipt_form,
    read_supplier_form,
    typed_item,
    typed_supplier,
)
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import last_change
from solespan.dashboards.meanwhile import changes_told
from solespan.dashboards.pages.bench.stock import stock_page, weeks_page
from solespan.dashboards.pages.rack.pair import FormState
from solespan.forecast.frames import MATERIALS

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
MOST_ORDERS = 60
DONE = {
    "kept": "That item is kept.",
    "line": "That line is written.",
    "ordered": "The order is written down. Advice counts it as on its way.",
    "received": "What came is written down, also in the stock book.",
    "cancelled": "The rest of that order is cancelled.",
    "supplier": "That supplier is kept.",
}
_KEPT = {"item": ("stock_items", "item_id"), "supplier": ("suppliers", "supplier_id")}
_FORMS = ("item", "line", "order", "receipt", "supplier")


@router.get("/stock")
def read_stock(
    ctx: Context, request: Request, done: Words = "", item: Words = "", supplier: Words = ""
) -> Response:
    """Show what is there and on order, what to order, and the forms of the book.

    With an item or a supplier its form holds what is kept of it.
    """
    return _page(ctx, request, done=DONE.get(done, ""), opened={"item": item, "supplier": supplier})


@router.get("/stock/weeks")
def read_weeks(ctx: Context, request: Request, item: Words = "") -> Response:
    """Show what each week of the year will take of an item."""
    with ctx.database.reading() as session:
        kept = stock.found_item(session, item)
    rows, missing = [], ""
    try:
        rows = stock_advice.item_weeks(ctx.database, ctx.clock.today(), item)
    except NothingForecast as nothing:
        missing = nothing.what
    return page_answer(request, "bench/stock_weeks.html", weeks_page(kept, rows, missing))


@router.post("/stock")
def keep_item(ctx: Context, request: Request, typed: Typed) -> Response:
    """Keep an item, or change how it is supplied."""

    def work() -> None:
        item_id, item = read_item_form(typed)
        with ctx.database.writing() as session:
            whole = as_supplied(item, find_item(session, item_id))
            stock.put_item(session, item_id, whole, seen=typed)

    return _do(ctx, request, typed, "item", "kept", work)


@router.post("/stock/line")
def write_line(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Write a receipt, a use or a count."""

    def work() -> None:
        line = read_line_form(typed)
        _once(
            ctx, key, "line", typed, lambda s: stock.move_stock(s, typed.get("item_id", ""), line)
        )

    return _do(ctx, request, typed, "line", "line", work)


@router.post("/stock/supplier")
def keep_supplier(ctx: Context, request: Request, typed: Typed) -> Response:
    """Keep a supplier, or change what is kept of it."""

    def work() -> None:
        supplier_id, supplier = read_supplier_form(typed)
        with ctx.database.writing() as session:
            purchases.put_supplier(session, supplier_id, supplier, seen=typed)

    return _do(ctx, request, typed, "supplier", "supplier", work)


@router.post("/stock/order")
def order_item(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Write down that an item was ordered."""

    def work() -> None:
        given, today = read_purchase_form(typed), ctx.clock.today()
        _once(ctx, key, "order", typed, lambda s: purchases.order_item(s, given, today))

    return _do(ctx, request, typed, "order", "ordered", work)


@router.post("/stock/receive")
def receive_order(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Write down what came of an order."""

    def work() -> None:
        receipt, today, order = read_receipt_form(typed), ctx.clock.today(), _order(typed)
        receive = purchases.receive_purchase
        _once(ctx, key, "receive", typed, lambda s: receive(s, order, receipt, today))

    return _do(ctx, request, typed, "receipt", "received", work)


@router.post("/stock/cancel")
def cancel_order(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Write down that what is open of an order will not come."""

    def work() -> None:
        order, today = _order(typed), ctx.clock.today()
        _once(ctx, key, "cancel", typed, lambda s: purchases.cancel_purchase(s, order, today))

    return _do(ctx, request, typed, "receipt", "cancelled", work)


def _order(typed: Mapping[str, str]) -> str:
    return typed.get("purchase_id", "")


def _once(
    ctx: AppContext,
    key: str | None,
    what: str,
    typed: Mapping[str, str],
    change: Callable[[Session], Any],
) -> None:
    def work(session: Session) -> dict[str, Any]:
        change(session)
        return {}

    do_once(ctx, key, f"POST /stock/{what}", typed, work)


def _do(
    ctx: AppContext,
    request: Request,
    typed: Mapping[str, str],
    form: str,
    done: str,
    work: Callable[[], None],
) -> Response:
    """Do what a form asks, or show the page with what is wrong in that form."""
    try:
        refuse_foreign_form(request, typed)
        work()
    except FormProblem as problem:
        wrong = "" if form != "receipt" else f"Not saved: {'; '.join(problem.errors.values())}."
        return _page(ctx, request, problem=wrong, forms={form: FormState(typed, problem.errors)})
    except ChangedMeanwhile as meanwhile:
        return _overtaken(ctx, request, form, meanwhile)
    except SolespanError as error:
        return _page(ctx, request, problem=told(error), forms={form: FormState(typed)})
    return back_to("/stock", done=done)


def _overtaken(
    ctx: AppContext, request: Request, form: str, meanwhile: ChangedMeanwhile
) -> Response:
    """Show what somebody else kept under this name, and what was typed."""
    table, column = _KEPT[form]
    key = {column: meanwhile.values.get(column, "").strip()}
    with ctx.database.reading() as session:
        last = last_change(session, table, key)
    seen = changes_told(meanwhile.changes, last, {})
    return _page(ctx, request, meanwhile=seen, forms={form: FormState(meanwhile.values)})


def _page(
    ctx: AppContext,
    request: Request,
    *,
    done: str = "",
    problem: str = "",
    forms: Mapping[str, FormState] | None = None,
    opened: Mapping[str, str] | None = None,
    meanwhile: Mapping[str, Any] | None = None,
) -> Response:
    with ctx.database.reading() as session:
        items = list_items(session)
        orders = purchases.list_purchases(session, limit=MOST_ORDERS)
        suppliers = purchases.list_suppliers(session)
    today = ctx.clock.today()
    advice, missing = [], ""
    if items:
        try:
            advice = stock_advice.advice(ctx.database, today)
        except NothingForecast as nothing:
            missing = nothing.what
    context = stock_page(
        items,
        advice,
        orders,
        suppliers,
        today=today,
        missing=missing,
        uses=USES,
        materials=MATERIALS,
    )
    kept = {
        "item": {row["item_id"]: typed_item(row) for row in items},
        "supplier": {row["supplier_id"]: typed_supplier(row) for row in suppliers},
    }
    shown = {
        name: FormState(with_edition(rows.get((opened or {}).get(name, ""), {})))
        for name, rows in kept.items()
    } | dict(forms or {})
    context |= {f"{name}_form": shown.get(name, FormState()) for name in _FORMS}
    context |= {"done": done, "problem": problem, "meanwhile": meanwhile}
    status = 409 if meanwhile else 422 if problem or forms else 200
    return page_answer(request, "bench/stock.html", context, status)


PAGE = PageEntry(
    router, under="/workload", templates=("bench/stock.html", "bench/stock_weeks.html")
)
