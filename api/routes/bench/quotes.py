"""HTTP routes of quotes: how is a quote for a pair read over HTTP?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Response
from pydantic import Field

from solespan.api.routes.http.requests import PROBLEM_ANSWERS, Context, json_answer
from solespan.api.schemas.bench.orders import Name
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.rack.records import Answer
from solespan.api.services.bench.quotes import quote_pair

__all__ = ["router"]

router = APIRouter(prefix="/v1/quotes", tags=["bench"], responses=PROBLEM_ANSWERS)


class Needed(Answer):
    """One work the pair needs."""

    work: str = Field(description="kind of work. Unit: none (word)")
    why: str = Field(description="what shows it. Unit: none (text)")


class Way(Answer):
    """One way to repair the pair."""

    works: list[str] = Field(description="kinds of work. Unit: none (words)")
    why: list[str] = Field(description="what shows each. Unit: none (texts)")
    price_minor: int = Field(description="list price of all. Unit: minor unit of currency")
    minutes: float = Field(description="hands-on time, median. Unit: min")
    minutes_low: float = Field(description="10 % quantile, about. Unit: min")
    minutes_high: float = Field(description="90 % quantile, about. Unit: min")
    wear_days_bought: float = Field(description="standard wear days it adds. Unit: wear days")


class Quote(Answer):
    """What a pair needs and the ways to do it."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    currency: str = Field(description="ISO 4217 code of prices. Unit: none (code)")
    needed: list[Needed] = Field(description="works needed; empty = none yet. Unit: none (list)")
    wear_days_left: dict[str, float] = Field(description="by point. Unit: wear days")
    alternatives: list[Way] = Field(description="cheapest wear day first. Unit: none (list)")
    minutes_from: str = Field(description="where the minutes come from. Unit: none (text)")


@router.get("/{pair_id}", response_model=None, responses={200: {"model": Quote}})
def read_quote(
    ctx: Context,
    pair_id: Annotated[KnownId, Path(description="the pair. Unit: none (identifier)")],
    worker: Annotated[
        Name | None, Query(description="whose pace counts. Unit: none (text)")
    ] = None,
) -> Response:
    """Read what a pair needs, at which price, in which time, and the wear days each way buys."""
    with ctx.database.reading() as session:
        return json_answer(quote_pair(session, pair_id, worker))
