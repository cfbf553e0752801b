"""HTTP routes of quotes: how is a quote for a pair read over HTTP?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Response

from solespan.api.routes.http.requests import PROBLEM_ANSWERS, Context, json_answer
from solespan.api.schemas.bench.orders import Name, Work
from solespan.api.schemas.bench.quotes import Quote
from solespan.api.schemas.fields import KnownId
from solespan.api.services.bench.quotes import quote_pair
from solespan.forecast.frames import WORKS

__all__ = ["router"]

router = APIRouter(prefix="/v1/quotes", tags=["bench"], responses=PROBLEM_ANSWERS)


@router.get("/{pair_id}", response_model=None, responses={200: {"model": Quote}})
def read_quote(
    ctx: Context,
    pair_id: Annotated[KnownId, Path(description="the pair. Unit: none (identifier)")],
    worker: Annotated[
        Name | None, Query(description="whose pace counts. Unit: none (text)")
    ] = None,
    works: Annotated[
        list[Work] | None,
        Query(max_length=len(WORKS), description="works to quote as one visit. Unit: none (words)"),
    ] = None,
) -> Response:
    """Read what a pair needs, at which price, in which time, and the wear days each way buys."""
    with ctx.database.reading() as session:
        return json_answer(quote_pair(session, pair_id, worker, works=works or ()))
