"""HTTP route of receptions: how does a program take in a pair that is not known yet?"""

from __future__ import annotations

from fastapi import APIRouter, Depends, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    etag_of,
    needs_json,
    plain,
)
from solespan.api.schemas.bench.orders import Order
from solespan.api.schemas.bench.reception import Reception
from solespan.api.services.bench.desk.reception import take_in
from solespan.api.services.idempotency import Answered, fingerprint_of

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["bench"], responses=PROBLEM_ANSWERS)


@router.post(
    "/receptions",
    response_model=None,
    status_code=201,
    responses={201: {"model": Order}},
    dependencies=[Depends(needs_json)],
)
def create_reception(ctx: Context, body: Reception, key: IdempotencyKey) -> Response:
    """Take a pair in: make the customer, the pair and its sole where they are new, and book it."""

    def work(session: Session) -> Answered:
        order = take_in(ctx, session, body)
        headers = {
            "location": f"/v1/bench-orders/{order['order_id']}",
            "etag": etag_of(order["version"]),
        }
        return Answered(201, plain(order), headers)

    fingerprint = fingerprint_of(b"receptions", body.model_dump_json().encode())
    return answer_of(ctx.idempotency.once("POST /v1/receptions", key, fingerprint, work))
