"""HTTP routes of consents.

How are consents given and withdrawn, and bounced addresses reported, over HTTP?
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    json_answer,
    needs_json,
    plain,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.notices.consents import (
    Bounced,
    BounceGiven,
    ConsentGiven,
    ConsentPage,
    ConsentState,
    ConsentWithdrawn,
)
from solespan.api.schemas.notices.many_consents import (
    BASES,
    ConsentReach,
    ManyConsents,
    ManyConsentsWritten,
)
from solespan.api.schemas.rack.records import MAX_PAGE, Message
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.notices import consents
from solespan.api.services.notices.consents import consents_of, lift_stop, wearers_at
from solespan.api.services.notices.many_consents import count_reached, give_to_many

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["notices"], responses=PROBLEM_ANSWERS)
_AS_JSON = [Depends(needs_json)]


def _fingerprint(route: str, body: Message) -> str:
    return fingerprint_of(route.encode(), body.model_dump_json().encode())


@router.get("/consents", response_model=None, responses={200: {"model": ConsentPage}})
def list_consents(
    ctx: Context,
    wearer_id: Annotated[
        KnownId | None, Query(description="only this customer's. Unit: none (identifier)")
    ] = None,
) -> Response:
    """List consents, newest first, also those withdrawn."""
    with ctx.database.reading() as session:
        rows = consents_of(session, wearer_id, MAX_PAGE)
    return json_answer({"items": [plain(row) for row in rows]})


@router.post(
    "/consents",
    response_model=None,
    status_code=201,
    responses={201: {"model": ConsentState}, 200: {"model": ConsentState}},
    dependencies=_AS_JSON,
)
def give_consent(ctx: Context, body: ConsentGiven, key: IdempotencyKey) -> Response:
    """Write down that a customer agreed; one that holds already stays as it is."""

    def work(session: Session) -> Answered:
        new = consents.give(session, body, ctx.clock)
        rows = consents_of(session, body.wearer_id, MAX_PAGE)
        held = next(r for r in rows if r["channel"] == body.channel and r["withdrawn_at"] is None)
        return Answered(201 if new else 200, plain(held))

    route = "POST /v1/consents"
    return answer_of(ctx.idempotency.once(route, key, _fingerprint(route, body), work))


@router.post(
    "/consents/withdrawals",
    response_model=None,
    responses={200: {"model": ConsentPage}},
    dependencies=_AS_JSON,
)
def withdraw_consent(ctx: Context, body: ConsentWithdrawn, key: IdempotencyKey) -> Response:
    """Write down that a customer withdrew; waiting notices of that channel are stopped."""

    def work(session: Session) -> Answered:
        consents.withdraw(session, body, ctx.clock)
        rows = consents_of(session, body.wearer_id, MAX_PAGE)
        return Answered(200, {"items": [plain(row) for row in rows]})

    route = "POST /v1/consents/withdrawals"
    return answer_of(ctx.idempotency.once(route, key, _fingerprint(route, body), work))


@router.get("/consents/many", response_model=None, responses={200: {"model": ConsentReach}})
def read_consent_reach(ctx: Context) -> Response:
    """Count, for each way, the customers whom it reaches and who never answered about it."""
    with ctx.database.reading() as session:
        reached = count_reached(session)
    items = [{"channel": name, "customers": count} for name, count in reached.items()]
    return json_answer({"items": items, "bases": list(BASES)})


@router.post(
    "/consents/many",
    response_model=None,
    status_code=201,
    responses={201: {"model": ManyConsentsWritten}},
    dependencies=_AS_JSON,
)
def give_consent_of_many(ctx: Context, body: ManyConsents, key: IdempotencyKey) -> Response:
    """Write down that all whom a way reaches agreed, with the legal basis; all or none."""

    def work(session: Session) -> Answered:
        count = give_to_many(session, body, ctx.clock)
        return Answered(201, {"channel": body.channel, "customers": count})

    route = "POST /v1/consents/many"
    return answer_of(ctx.idempotency.once(route, key, _fingerprint(route, body), work))


@router.post(
    "/bounces", response_model=None, responses={200: {"model": Bounced}}, dependencies=_AS_JSON
)
def report_bounce(ctx: Context, body: BounceGiven, key: IdempotencyKey) -> Response:
    """Report an address that takes no mail: nothing is sent there any more."""

    def work(session: Session) -> Answered:
        customers = consents.report_bounce(session, body, ctx.clock)
        return Answered(200, {"stopped": True, "customers": customers})

    route = "POST /v1/bounces"
    return answer_of(ctx.idempotency.once(route, key, _fingerprint(route, body), work))


@router.post(
    "/bounces/lifted",
    response_model=None,
    responses={200: {"model": Bounced}},
    dependencies=_AS_JSON,
)
def lift_bounce(ctx: Context, body: BounceGiven, key: IdempotencyKey) -> Response:
    """Allow an address again."""

    def work(session: Session) -> Answered:
        lift_stop(session, body.address)
        return Answered(
            200,
            {"stopped": False, "customers": len(wearers_at(session, body.channel, body.address))},
        )

    route = "POST /v1/bounces/lifted"
    return answer_of(ctx.idempotency.once(route, key, _fingerprint(route, body), work))
