"""HTTP routes of calendar feed.

How does an owner get a calendar address, and what does that address answer?

The address holds its own secret, a stated exception. It serves one purpose, can be ended, and is
not logged: requests are logged by route.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from solespan.api.routes.http.requests import PROBLEM_ANSWERS, Context, json_answer
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.planning.planning import FeedState
from solespan.api.services.planning import calendar

__all__ = ["feed", "router"]

router = APIRouter(prefix="/v1/calendar-feeds", tags=["planning"], responses=PROBLEM_ANSWERS)
feed = APIRouter(tags=["planning"], responses=PROBLEM_ANSWERS)
WearerId = Annotated[KnownId, Path(description="whose calendar. Unit: none (identifier)")]


@router.get("/{wearer_id}", response_model=None, responses={200: {"model": FeedState}})
def read_calendar_address(ctx: Context, wearer_id: WearerId) -> Response:
    """Read whether an owner has a calendar address; the address itself is not kept."""
    with ctx.database.reading() as session:
        return json_answer(calendar.feed_state(session, wearer_id))


@router.put("/{wearer_id}", response_model=None, responses={200: {"model": FeedState}})
def make_calendar_address(ctx: Context, wearer_id: WearerId) -> Response:
    """Make a new secret calendar address; the old one ends. It is shown only once."""
    with ctx.database.writing() as session:
        return json_answer(calendar.new_address(ctx, session, wearer_id))


@router.delete("/{wearer_id}", response_model=None, status_code=204)
def end_calendar_address(ctx: Context, wearer_id: WearerId) -> Response:
    """End an owner's calendar address."""
    with ctx.database.writing() as session:
        calendar.end_address(session, wearer_id)
    return Response(status_code=204)


@feed.get(
    "/calendar/{secret}.ics",
    response_class=Response,
    responses={200: {"content": {"text/calendar": {"schema": {"type": "string"}}}}},
)
def read_calendar(
    ctx: Context,
    request: Request,
    secret: Annotated[
        str, Path(max_length=100, description="opens one calendar. Unit: none (opaque text)")
    ],
) -> Response:
    """Send the calendar (RFC 5545) that a secret opens."""
    body = calendar.calendar_of_secret(ctx, secret)
    etag = calendar.etag_of(body)
    headers = {"etag": etag, "cache-control": "private, max-age=900"}
    if request.headers.get("if-none-match", "").removeprefix("W/") == etag:
        return Response(status_code=304, headers=headers)
    return Response(body, media_type="text/calendar; charset=utf-8", headers=headers)
