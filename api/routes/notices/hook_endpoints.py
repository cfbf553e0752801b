"""HTTP routes of hook endpoints.

How are addresses of the shop's own software set up, and events listed and sent again, over HTTP?
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    after_of,
    answer_of,
    cursor_of,
    etag_of,
    json_answer,
    needs_json,
    plain,
    versions_in,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.notices.hook_endpoints import (
    HookEndpoint,
    HookEndpointGiven,
    HookEndpoints,
    HookEventFilters,
    HookEventPage,
    HookEventResent,
    HookSecret,
)
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.notices.hooks import endpoints

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["notices"], responses=PROBLEM_ANSWERS)
EndpointId = Annotated[KnownId, Path(description="the endpoint. Unit: none (identifier)")]
EventId = Annotated[KnownId, Path(description="the event. Unit: none (identifier)")]
Versions = Annotated[frozenset[int] | None, Depends(versions_in)]
_AS_JSON = [Depends(needs_json)]


def _endpoint(row: dict[str, Any]) -> Response:
    return json_answer(plain(row), headers={"etag": etag_of(row["version"])})


@router.get("/hook-endpoints", response_model=None, responses={200: {"model": HookEndpoints}})
def list_hook_endpoints(ctx: Context) -> Response:
    """List the addresses that are told of events."""
    with ctx.database.reading() as session:
        rows = endpoints.list_endpoints(session)
    return json_answer({"items": [plain(row) for row in rows]})


@router.post(
    "/hook-endpoints",
    response_model=None,
    status_code=201,
    responses={201: {"model": HookEndpoint}},
    dependencies=_AS_JSON,
)
def create_hook_endpoint(ctx: Context, body: HookEndpointGiven, key: IdempotencyKey) -> Response:
    """Tell an address of events from now on; it gets a secret of its own."""

    def work(session: Session) -> Answered:
        made = endpoints.add_endpoint(ctx, session, body)
        return Answered(201, plain(made), {"etag": etag_of(made["version"])})

    route = "POST /v1/hook-endpoints"
    fingerprint = fingerprint_of(route.encode(), body.model_dump_json().encode())
    return answer_of(ctx.idempotency.once(route, key, fingerprint, work))


@router.put(
    "/hook-endpoints/{endpoint_id}",
    response_model=None,
    responses={200: {"model": HookEndpoint}},
    dependencies=_AS_JSON,
)
def replace_hook_endpoint(
    ctx: Context, endpoint_id: EndpointId, body: HookEndpointGiven, versions: Versions
) -> Response:
    """Change an endpoint's address, its kinds of event, or whether it is told."""
    with ctx.database.writing() as session:
        row = endpoints.change_endpoint(ctx, session, endpoint_id, body, versions)
    return _endpoint(row)


@router.delete("/hook-endpoints/{endpoint_id}", status_code=204, response_class=Response)
def delete_hook_endpoint(ctx: Context, endpoint_id: EndpointId) -> Response:
    """Delete an endpoint with its events."""
    with ctx.database.writing() as session:
        endpoints.remove_endpoint(session, endpoint_id)
    return Response(status_code=204)


@router.get(
    "/hook-endpoints/{endpoint_id}/secret",
    response_model=None,
    responses={200: {"model": HookSecret}},
)
def read_hook_secret(ctx: Context, endpoint_id: EndpointId) -> Response:
    """Read the secret that signs for an endpoint."""
    with ctx.database.reading() as session:
        secret = endpoints.read_secret(session, endpoint_id)
    return json_answer({"secret": secret}, headers={"cache-control": "no-store"})


@router.post(
    "/hook-endpoints/{endpoint_id}/secret",
    response_model=None,
    status_code=201,
    responses={201: {"model": HookEndpoint}},
)
def rotate_hook_secret(ctx: Context, endpoint_id: EndpointId, key: IdempotencyKey) -> Response:
    """Make a new secret; the old one signs beside it for 24 hours."""

    def work(session: Session) -> Answered:
        return Answered(201, plain(endpoints.rotate_secret(session, endpoint_id, ctx.clock.now())))

    route = f"POST /v1/hook-endpoints/{endpoint_id}/secret"
    name = f"hook-secret {fingerprint_of(route.encode())}"
    return answer_of(ctx.idempotency.once(name, key, fingerprint_of(route.encode()), work))


@router.get("/hook-events", response_model=None, responses={200: {"model": HookEventPage}})
def list_hook_events(ctx: Context, chosen: Annotated[HookEventFilters, Query()]) -> Response:
    """List events with what became of them, newest first."""
    after = after_of(chosen.after, [int])
    with ctx.database.reading() as session:
        rows = endpoints.list_events(
            session,
            endpoint_id=chosen.endpoint_id,
            state=chosen.state,
            below_id=after[0] if after else None,
            limit=chosen.limit + 1,
        )
    more = len(rows) > chosen.limit
    rows = rows[: chosen.limit]
    following = cursor_of([rows[-1]["id"]]) if more else None
    items = [plain({k: v for k, v in row.items() if k not in ("id", "url")}) for row in rows]
    return json_answer({"items": items, "next": following})


@router.post(
    "/hook-events/{event_id}/resend",
    response_model=None,
    status_code=201,
    responses={201: {"model": HookEventResent}},
)
def resend_hook_event(ctx: Context, event_id: EventId, key: IdempotencyKey) -> Response:
    """Send an event again, with the same identifier."""

    def work(session: Session) -> Answered:
        return Answered(201, endpoints.resend(session, event_id, ctx.clock.now()))

    route = f"POST /v1/hook-events/{event_id}/resend"
    name = f"hook-resend {fingerprint_of(route.encode())}"
    return answer_of(ctx.idempotency.once(name, key, fingerprint_of(route.encode()), work))
