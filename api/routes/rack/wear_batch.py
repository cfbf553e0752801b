"""HTTP route of wear batches: how are many wear days put and removed in one request?"""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    needs_json,
)
from solespan.api.schemas.rack.wear_batch import WearBatch, WearBatchDone
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.rack.wear_batch import write_batch

__all__ = ["router"]

router = APIRouter(prefix="/v1/wear-days", tags=["rack"], responses=PROBLEM_ANSWERS)
ROUTE = "POST /v1/wear-days/batch"


@router.post(
    "/batch",
    response_model=None,
    dependencies=[Depends(needs_json)],
    responses={200: {"model": WearBatchDone}},
)
def write_wear_batch(
    ctx: Context,
    body: WearBatch,
    key: IdempotencyKey,
    forecast: Annotated[
        Literal["now", "later"],
        Query(
            description="whether the forecasts follow in this request, or a moment later. "
            "Unit: none (word)"
        ),
    ] = "now",
) -> Response:
    """Put and remove several wear days: all of them, or none when one cannot be true."""
    rows = body.model_dump()
    left = False

    def work(session: Session) -> Answered:
        nonlocal left
        done = write_batch(session, rows["put"], rows["remove"], ctx.clock)
        if forecast == "now":
            for wearer_id in sorted(done.wearer_ids):
                ctx.forecaster.update_wearer(session, wearer_id)
        behind = forecast == "later" or ctx.forecaster.newest_fit(session) is None
        left = bool(done.wearer_ids) and behind
        return Answered(200, done.counts)

    fingerprint = fingerprint_of(ROUTE.encode(), body.model_dump_json().encode())
    answer = ctx.idempotency.once(ROUTE, key, fingerprint, work)
    if left:
        ctx.refitter.wake()
    return answer_of(answer)
