"""HTTP routes of materials.

How are the stock book and the advice what to order reached over HTTP?
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Response
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
from solespan.api.schemas.bench.stock import AdvisedItems, Item, Items, ItemStored, StockLine
from solespan.api.schemas.fields import NewId
from solespan.api.services.bench import stock, stock_advice
from solespan.api.services.bench.stock import list_items
from solespan.api.services.idempotency import Answered, fingerprint_of

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["bench"], responses=PROBLEM_ANSWERS)
ItemId = Annotated[NewId, Path(description="the item. Unit: none (identifier)")]
OrNew = Annotated[frozenset[int] | None, Depends(versions_or_new)]
_AS_JSON = [Depends(needs_json)]


@router.get("/stock", response_model=None, responses={200: {"model": Items}})
def list_stock(ctx: Context) -> Response:
    """List every item and its stock."""
    with ctx.database.reading() as session:
        rows = list_items(session)
    return json_answer({"items": [{k: v for k, v in r.items() if k != "id"} for r in rows]})


@router.get("/stock/{item_id}", response_model=None, responses={200: {"model": ItemStored}})
def read_stock_item(ctx: Context, item_id: ItemId) -> Response:
    """Read an item and its newest lines."""
    with ctx.database.reading() as session:
        item = stock.describe_item(session, item_id)
    return json_answer(item, headers={"etag": etag_of(item["version"])})


@router.put(
    "/stock/{item_id}",
    response_model=None,
    responses={200: {"model": ItemStored}},
    dependencies=_AS_JSON,
)
def replace_stock_item(ctx: Context, item_id: ItemId, body: Item, versions: OrNew) -> Response:
    """Keep an item, or change its supply; its stock stays."""
    with ctx.database.writing() as session:
        stock.put_item(session, item_id, body, versions=versions)
        item = stock.describe_item(session, item_id)
    return json_answer(item, headers={"etag": etag_of(item["version"])})


@router.post(
    "/stock/{item_id}/lines",
    response_model=None,
    status_code=201,
    responses={201: {"model": ItemStored}},
    dependencies=_AS_JSON,
)
def create_stock_line(
    ctx: Context, item_id: ItemId, body: StockLine, key: IdempotencyKey
) -> Response:
    """Write a receipt, a use or a count into the book; it never goes below zero."""

    def work(session: Session) -> Answered:
        return Answered(201, stock.move_stock(session, item_id, body))

    route = f"POST /v1/stock/{item_id}/lines"
    fingerprint = fingerprint_of(route.encode(), body.model_dump_json().encode())
    return answer_of(ctx.idempotency.once(route, key, fingerprint, work))


@router.get("/stock-advice", response_model=None, responses={200: {"model": AdvisedItems}})
def read_stock_advice(
    ctx: Context,
    months: Annotated[int, Query(ge=1, le=36, description="how far to look. Unit: months")] = 12,
) -> Response:
    """Advise when to order how much of every item, from the simulated years."""
    return json_answer({"items": stock_advice.advice(ctx.database, ctx.clock.today(), months)})
