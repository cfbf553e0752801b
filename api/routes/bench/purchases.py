"""HTTP routes of purchases.

How are suppliers, orders of stock items and their receipts reached over HTTP?
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Response
from pydantic import BaseModel
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    etag_of,
    json_answer,
    needs_json,
    versions_or_new,
)
from solespan.api.schemas.bench.purchases import (
    ItemWeeks,
    NewPurchase,
    Purchase,
    PurchaseFilters,
    Purchases,
    Receipt,
    Supplier,
    Suppliers,
    SupplierStored,
)
from solespan.api.schemas.fields import KnownId, NewId
from solespan.api.services.bench import purchases
from solespan.api.services.bench.stock_advice import item_weeks
from solespan.api.services.context import AppContext
from solespan.api.services.idempotency import Answered, fingerprint_of

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["bench"], responses=PROBLEM_ANSWERS)
SupplierId = Annotated[NewId, Path(description="the supplier. Unit: none (identifier)")]
PurchaseId = Annotated[KnownId, Path(description="the order. Unit: none (identifier)")]
ItemId = Annotated[NewId, Path(description="the item. Unit: none (identifier)")]
Work = Callable[[Session], dict[str, Any]]
OrNew = Annotated[frozenset[int] | None, Depends(versions_or_new)]
_AS_JSON = [Depends(needs_json)]
_CREATED: dict[int | str, dict[str, Any]] = {201: {"model": Purchase}}


def _once(
    ctx: AppContext, key: str | None, route: str, body: BaseModel | None, work: Work
) -> Response:
    said = b"" if body is None else body.model_dump_json().encode()
    fingerprint = fingerprint_of(route.encode(), said)
    return answer_of(
        ctx.idempotency.once(route, key, fingerprint, lambda s: Answered(201, work(s)))
    )


@router.get("/suppliers", response_model=None, responses={200: {"model": Suppliers}})
def list_suppliers(ctx: Context) -> Response:
    """List every supplier."""
    with ctx.database.reading() as session:
        rows = purchases.list_suppliers(session)
    return json_answer({"items": [{k: v for k, v in row.items() if k != "id"} for row in rows]})


@router.put(
    "/suppliers/{supplier_id}",
    response_model=None,
    responses={200: {"model": SupplierStored}},
    dependencies=_AS_JSON,
)
def replace_supplier(
    ctx: Context, supplier_id: SupplierId, body: Supplier, versions: OrNew
) -> Response:
    """Keep a supplier, or change what is kept of it."""
    with ctx.database.writing() as session:
        purchases.put_supplier(session, supplier_id, body, versions=versions)
        kept = purchases.describe_supplier(session, supplier_id)
    return json_answer(kept, headers={"etag": etag_of(kept["version"])})


@router.get("/purchases", response_model=None, responses={200: {"model": Purchases}})
def list_purchases(ctx: Context, chosen: Annotated[PurchaseFilters, Query()]) -> Response:
    """List orders of items, the open ones first by the day expected."""
    with ctx.database.reading() as session:
        return json_answer({"items": purchases.list_purchases(session, **chosen.model_dump())})


@router.post(
    "/purchases", response_model=None, status_code=201, responses=_CREATED, dependencies=_AS_JSON
)
def create_purchase(ctx: Context, body: NewPurchase, key: IdempotencyKey) -> Response:
    """Write down that an item was ordered; advice counts it as on its way."""
    today = ctx.clock.today()
    work: Work = lambda session: purchases.order_item(session, body, today)  # noqa: E731
    return _once(ctx, key, "POST /v1/purchases", body, work)


@router.get("/purchases/{purchase_id}", response_model=None, responses={200: {"model": Purchase}})
def read_purchase(ctx: Context, purchase_id: PurchaseId) -> Response:
    """Read an order of an item."""
    with ctx.database.reading() as session:
        return json_answer(purchases.describe_purchase(session, purchase_id))


@router.post(
    "/purchases/{purchase_id}/receipts",
    response_model=None,
    status_code=201,
    responses=_CREATED,
    dependencies=_AS_JSON,
)
def create_receipt(
    ctx: Context, purchase_id: PurchaseId, body: Receipt, key: IdempotencyKey
) -> Response:
    """Write down what came of an order, also in the stock book."""
    today = ctx.clock.today()
    work: Work = lambda session: purchases.receive_purchase(  # noqa: E731
        session, purchase_id, body, today
    )
    return _once(ctx, key, f"POST /v1/purchases/{purchase_id}/receipts", body, work)


@router.post(
    "/purchases/{purchase_id}/cancellation",
    response_model=None,
    status_code=201,
    responses=_CREATED,
)
def cancel_purchase(ctx: Context, purchase_id: PurchaseId, key: IdempotencyKey) -> Response:
    """Write down that what is open of an order will not come."""
    today = ctx.clock.today()
    work: Work = lambda session: purchases.cancel_purchase(session, purchase_id, today)  # noqa: E731
    return _once(ctx, key, f"POST /v1/purchases/{purchase_id}/cancellation", None, work)


@router.get("/stock/{item_id}/weeks", response_model=None, responses={200: {"model": ItemWeeks}})
def read_stock_weeks(
    ctx: Context,
    item_id: ItemId,
    months: Annotated[int, Query(ge=1, le=36, description="how far to look. Unit: months")] = 12,
) -> Response:
    """Say what each week will take of an item, from the simulated years."""
    weeks = item_weeks(ctx.database, ctx.clock.today(), item_id, months)
    return json_answer({"item_id": item_id, "items": weeks})
