"""HTTP routes of batches: how are many records of one kind put and removed in one request?

One function makes the route of a table, so all six behave alike.
"""
# Annotations are not postponed here: each table's models are known only when its routes are made.

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
from solespan.api.schemas.rack.batches import BATCHES, Batch, BatchDone
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.rack.record_batch import write_batch

__all__ = ["batch_routers"]


def batch_routers() -> list[APIRouter]:
    """Make the route of every table."""
    return [_router(batch) for batch in BATCHES.values()]


def _router(batch: Batch) -> APIRouter:
    record = batch.record
    prefix = f"/v1/{record.path}"
    router = APIRouter(prefix=prefix, tags=[record.subject], responses=PROBLEM_ANSWERS)
    route = f"POST {prefix}/batch"

    def write(
        ctx: Context,
        body: batch.model,  # type: ignore[name-defined]
        key: IdempotencyKey,
        forecast: Annotated[
            Literal["now", "later"],
            Query(
                description="whether the forecasts follow in this request, or a moment later. "
                "Unit: none (word)"
            ),
        ] = "now",
    ) -> Response:
        """Put and remove several records: all of them, or none when one cannot be true."""
        rows = body.model_dump()
        left = False

        def work(session: Session) -> Answered:
            nonlocal left
            done = write_batch(session, record.name, rows["put"], rows["remove"], ctx.clock)
            if forecast == "now":
                for wearer_id in sorted(done.wearer_ids):
                    ctx.forecaster.update_wearer(session, wearer_id)
            behind = forecast == "later" or ctx.forecaster.newest_fit(session) is None
            left = bool(done.wearer_ids) and behind
            return Answered(200, done.counts)

        fingerprint = fingerprint_of(route.encode(), body.model_dump_json().encode())
        answer = ctx.idempotency.once(route, key, fingerprint, work)
        if left:
            ctx.refitter.wake()
        return answer_of(answer)

    router.add_api_route(
        "/batch",
        write,
        methods=["POST"],
        name=f"{record.operation('write')}_batch",
        summary=f"Write a batch of {record.one}s",
        response_model=None,
        dependencies=[Depends(needs_json)],
        responses={200: {"model": BatchDone}},
    )
    return router
