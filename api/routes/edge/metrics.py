"""Metrics route: what may a monitoring program read of this process?"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.exceptions import HTTPException

from solespan.api.services.context import AppContext
from solespan.api.services.operation.metrics import (
    CONTENT_TYPE_LATEST,
    Metrics,
    may_read_metrics,
)

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/metrics", response_model=None)
def read_metrics(request: Request) -> Response:
    """Answer in OpenMetrics text; for a sender who may not, there is no such address."""
    ctx: AppContext = request.app.state.services
    metrics: Metrics = request.app.state.metrics
    kind, _, bearer = request.headers.get("authorization", "").partition(" ")
    if not may_read_metrics(
        ctx.settings,
        bearer=bearer.strip() if kind.lower() == "bearer" else "",
        address=request.client.host if request.client else None,
        forwarded="x-forwarded-for" in request.headers or "forwarded" in request.headers,
    ):
        raise HTTPException(404)
    return Response(metrics.text(ctx), media_type=CONTENT_TYPE_LATEST)
