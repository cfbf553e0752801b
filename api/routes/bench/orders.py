"""HTTP routes of orders.

How are bench orders booked, moved, measured and photographed over HTTP?
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, File, Form, Path, Query, Request, Response, UploadFile
from sqlalchemy.orm import Session

from solespan.api.errors import NotFound
from solespan.api.routes.http.requests import (
    FILE,
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    after_of,
    answer_of,
    cursor_of,
    etag_of,
    json_answer,
    needs_json,
    needs_patch,
    plain,
    rows_answer,
    versions_in,
    versions_or_new,
)
from solespan.api.routes.rack.revisions import history_answer, undone_answer
from solespan.api.schemas.bench.free_days import FreeDayFilters, FreeDays
from solespan.api.schemas.bench.orders import (
    Agreement,
    BenchPhotoTaken,
    Condition,
    Move,
    NewOrder,
    Order,
    OrderChange,
    OrderFilters,
    OrderPage,
    Record,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.rack.revisions import RecordHistory, Undone
from solespan.api.services.bench import orders
from solespan.api.services.bench.booking.free_days import FreeDaysAsked, list_free_days
from solespan.api.services.bench.found_orders import describe
from solespan.api.services.bench.papers import file_paper
from solespan.api.services.bench.photographs import find_photo, keep_photograph, remove_photograph
from solespan.api.services.bench.quotes import agree
from solespan.api.services.context import AppContext
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.rack.history import record_history, restore
from solespan.api.services.rack.pictures.photo_metadata import MAX_PHOTO_BYTES

__all__ = ["PHOTO_PATH", "router"]

router = APIRouter(prefix="/v1", tags=["bench"], responses=PROBLEM_ANSWERS)
PHOTO_PATH = "/v1/bench-photos"
ORDERS = "bench_orders"

OrderId = Annotated[KnownId, Path(description="the order. Unit: none (identifier)")]
PhotoId = Annotated[KnownId, Path(description="the photograph. Unit: none (identifier)")]
Versions = Annotated[frozenset[int] | None, Depends(versions_in)]
OrNew = Annotated[frozenset[int] | None, Depends(versions_or_new)]
_BYTES = "application/octet-stream"
_AS_JSON = [Depends(needs_json)]
_IMAGE = {
    "content": {name: {"schema": FILE} for name in ("image/jpeg", "image/png", _BYTES)},
    "description": "The photograph; as plain bytes where only those are accepted",
}


@router.post(
    "/bench-orders",
    response_model=None,
    status_code=201,
    responses={201: {"model": Order}},
    dependencies=_AS_JSON,
)
def create_order(ctx: Context, body: NewOrder, key: IdempotencyKey) -> Response:
    """Book a piece of work on a pair."""

    def work(session: Session) -> Answered:
        order = orders.book(session, body, ctx.clock)
        headers = {
            "location": f"/v1/bench-orders/{order['order_id']}",
            "etag": etag_of(order["version"]),
        }
        return Answered(201, plain(order), headers)

    fingerprint = fingerprint_of(b"bench-orders", body.model_dump_json().encode())
    return answer_of(ctx.idempotency.once("POST /v1/bench-orders", key, fingerprint, work))


@router.get("/bench-orders", response_model=None, responses={200: {"model": OrderPage}})
def list_orders(
    ctx: Context, request: Request, chosen: Annotated[OrderFilters, Query()]
) -> Response:
    """List orders, newest booked first."""
    after = after_of(chosen.after, [int])
    with ctx.database.reading() as session:
        rows = orders.list_orders(
            session,
            stage=chosen.stage,
            pair_id=chosen.pair_id,
            ticket=chosen.ticket,
            below_id=after[0] if after else None,
            limit=chosen.limit + 1,
        )
    more = len(rows) > chosen.limit
    rows = rows[: chosen.limit]
    items = [plain({k: v for k, v in r.items() if k not in ("id", "pair_pk")}) for r in rows]
    return rows_answer(request, items, cursor_of([rows[-1]["id"]]) if more else None)


@router.get("/free-days", response_model=None, responses={200: {"model": FreeDays}})
def read_free_days(ctx: Context, chosen: Annotated[FreeDayFilters, Query()]) -> Response:
    """List the next days on which a pair can come, by the bench's calendar."""
    asked = FreeDaysAsked((chosen.work,), chosen.construction, chosen.by_post)
    with ctx.database.reading() as session:
        return json_answer(list_free_days(session, asked, ctx.clock, most=chosen.limit))


@router.get("/bench-orders/{order_id}", response_model=None, responses={200: {"model": Order}})
def read_order(ctx: Context, order_id: OrderId) -> Response:
    """Read an order with its audit, papers and photographs."""
    with ctx.database.reading() as session:
        order = describe(session, order_id)
    return json_answer(plain(order), headers={"etag": etag_of(order["version"])})


@router.post(
    "/bench-orders/{order_id}/moves",
    response_model=None,
    status_code=201,
    responses={201: {"model": Order}},
    dependencies=_AS_JSON,
)
def create_move(ctx: Context, order_id: OrderId, body: Move, key: IdempotencyKey) -> Response:
    """Take an order to its next stage; forecasts follow in the same transaction."""

    def work(session: Session) -> Answered:
        order = orders.step(session, order_id, body, ctx.clock)
        ctx.forecaster.update_owner(session, order["pair_id"])
        return Answered(201, plain(order), {"etag": etag_of(order["version"])})

    route = f"POST /v1/bench-orders/{order_id}/moves"
    fingerprint = fingerprint_of(route.encode(), body.model_dump_json().encode())
    # the stored column for a route is shorter than an id may be
    name = f"bench-moves {fingerprint_of(route.encode())}"
    return answer_of(ctx.idempotency.once(name, key, fingerprint, work))


@router.post(
    "/bench-orders/{order_id}/agreements",
    response_model=None,
    status_code=201,
    responses={201: {"model": Order}},
    dependencies=_AS_JSON,
)
def create_agreement(
    ctx: Context, order_id: OrderId, body: Agreement, key: IdempotencyKey
) -> Response:
    """Take the customer's yes to a way of the quote: the order gets its work and its price."""

    def work(session: Session) -> Answered:
        order = agree(session, order_id, body.works, body.version, ctx.clock)
        ctx.forecaster.update_owner(session, order["pair_id"])
        return Answered(201, plain(order), {"etag": etag_of(order["version"])})

    route = f"POST /v1/bench-orders/{order_id}/agreements"
    fingerprint = fingerprint_of(route.encode(), body.model_dump_json().encode())
    name = f"bench-agreements {fingerprint_of(route.encode())}"
    return answer_of(ctx.idempotency.once(name, key, fingerprint, work))


@router.patch(
    "/bench-orders/{order_id}",
    response_model=None,
    responses={200: {"model": Order}},
    dependencies=[Depends(needs_patch)],
)
def amend_order(ctx: Context, order_id: OrderId, body: OrderChange, versions: Versions) -> Response:
    """Correct an order by a JSON merge patch (RFC 7396); its stage changes only by a move."""
    with ctx.database.writing() as session:
        values = body.model_dump(exclude_unset=True)
        order = orders.amend(session, order_id, values, versions, ctx.clock)
    return json_answer(plain(order), headers={"etag": etag_of(order["version"])})


@router.delete("/bench-orders/{order_id}", status_code=204, response_class=Response)
def delete_order(ctx: Context, order_id: OrderId, versions: Versions) -> Response:
    """Delete an order with its audit and papers; what it logged of the pair stays."""
    with ctx.database.writing() as session:
        orders.remove(session, order_id, versions, ctx.clock)
    return Response(status_code=204)


@router.get(
    "/bench-orders/{order_id}/history",
    response_model=None,
    responses={200: {"model": RecordHistory}},
)
def read_order_history(ctx: Context, order_id: OrderId) -> Response:
    """Read how an order was changed in the last 30 days, also a deleted one."""
    with ctx.database.reading() as session:
        return history_answer(record_history(session, ORDERS, {"order_id": order_id}))


@router.post(
    "/bench-orders/{order_id}/restore", response_model=None, responses={200: {"model": Undone}}
)
def restore_order(ctx: Context, order_id: OrderId, key: IdempotencyKey) -> Response:
    """Restore a deleted order with its audit and papers."""

    def work(session: Session) -> dict[str, Any]:
        return restore(ctx, session, ORDERS, order_id)

    return undone_answer(ctx, key, f"{ORDERS}/{order_id}", work)


def _file(
    ctx: AppContext,
    order_id: str,
    kind: str,
    paper: Condition | Record,
    versions: frozenset[int] | None,
) -> Response:
    with ctx.database.writing() as session:
        order = file_paper(session, order_id, kind, paper, ctx.clock, versions=versions)
        ctx.forecaster.update_owner(session, order["pair_id"])
    return json_answer(plain(order), headers={"etag": etag_of(order["version"])})


_PAPER: dict[str, Any] = {
    "response_model": None,
    "responses": {200: {"model": Order}},
    "dependencies": _AS_JSON,
}


@router.put("/bench-orders/{order_id}/condition", **_PAPER)
def file_condition_report(
    ctx: Context, order_id: OrderId, body: Condition, versions: OrNew
) -> Response:
    """File the condition report at reception; its readings become checks of the log."""
    return _file(ctx, order_id, "condition", body, versions)


@router.put("/bench-orders/{order_id}/before", **_PAPER)
def file_measures_before(
    ctx: Context, order_id: OrderId, body: Record, versions: OrNew
) -> Response:
    """File the shoe's record before stripping."""
    return _file(ctx, order_id, "before", body, versions)


@router.put("/bench-orders/{order_id}/after", **_PAPER)
def file_measures_after(ctx: Context, order_id: OrderId, body: Record, versions: OrNew) -> Response:
    """File the measures of the finished pair."""
    return _file(ctx, order_id, "after", body, versions)


@router.post(
    "/bench-photos",
    response_model=None,
    status_code=201,
    responses={201: {"model": BenchPhotoTaken}},
)
def create_photo(
    ctx: Context,
    file: Annotated[
        UploadFile,
        File(
            description="a JPEG or PNG of up to 8 MiB; its metadata is removed. Unit: none (file)"
        ),
    ],
    order_id: Annotated[KnownId, Form(description="the order. Unit: none (identifier)")],
    key: IdempotencyKey,
    caption: Annotated[
        str, Form(max_length=500, pattern=r"^[^\x00]*$", description="what it shows. Unit: none")
    ] = "",
) -> Response:
    """Attach a photograph to an order."""
    content = file.file.read(MAX_PHOTO_BYTES + 1)

    def work(session: Session) -> Answered:
        told = keep_photograph(session, order_id, content, caption)
        return Answered(201, told, {"location": f"{PHOTO_PATH}/{told['photo_id']}"})

    fingerprint = fingerprint_of(b"bench-photos", order_id.encode(), caption.encode(), content)
    return answer_of(ctx.idempotency.once("POST /v1/bench-photos", key, fingerprint, work))


@router.get("/bench-photos/{photo_id}", response_class=Response, responses={200: _IMAGE})
def read_photo(ctx: Context, request: Request, photo_id: PhotoId) -> Response:
    """Read a photograph."""
    with ctx.database.reading() as session:
        found = find_photo(session, photo_id)
    if found is None:
        raise NotFound("There is no such photograph.", where="photo_id")
    kind = _BYTES if request.headers.get("accept") == _BYTES else found[0]
    return Response(found[1], media_type=kind)


@router.delete("/bench-photos/{photo_id}", status_code=204, response_class=Response)
def delete_photo(ctx: Context, photo_id: PhotoId) -> Response:
    """Take a photograph away; the order's audit keeps that it was there."""
    with ctx.database.writing() as session:
        remove_photograph(session, photo_id)
    return Response(status_code=204)
