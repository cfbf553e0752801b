"""HTTP routes of care: how is care between soles listed, logged and changed over HTTP?"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Path, Query, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    json_answer,
    needs_json,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.planning.care import (
    CareAsked,
    CareDue,
    CareLogged,
    CareRuleAnswer,
    CareRuleAsked,
    CareRules,
)
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.planning import care
from solespan.forecast.planning.care import CARES, UPPERS

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["planning"], responses=PROBLEM_ANSWERS)
WearerId = Annotated[KnownId, Query(description="whose rack. Unit: none (identifier)")]
_Upper: Any = Literal[UPPERS]
_Care: Any = Literal[CARES]
_AS_JSON = [Depends(needs_json)]


@router.get("/care", response_model=None, responses={200: {"model": CareDue}})
def list_care(ctx: Context, wearer_id: WearerId) -> Response:
    """List the care that is due on a rack today, and why."""
    return json_answer(care.care_due(ctx, wearer_id))


@router.post(
    "/care",
    response_model=None,
    status_code=201,
    dependencies=_AS_JSON,
    responses={201: {"model": CareLogged}},
)
def log_care(ctx: Context, body: CareAsked, key: IdempotencyKey) -> Response:
    """Log that a care was done."""
    route = "POST /v1/care"

    def work(session: Session) -> Answered:
        logged = care.log_care(ctx, session, body.pair_id, body.care, body.done_on)
        return Answered(201, logged)

    fingerprint = fingerprint_of(route.encode(), body.model_dump_json().encode())
    return answer_of(ctx.idempotency.once(route, key, fingerprint, work))


@router.get("/care-rules", response_model=None, responses={200: {"model": CareRules}})
def list_care_rules(ctx: Context, wearer_id: WearerId) -> Response:
    """List an owner's care rules; those not edited are common practice."""
    with ctx.database.reading() as session:
        return json_answer({"items": care.rules_of(session, wearer_id)})


@router.put(
    "/care-rules/{wearer_id}/{upper}/{kind}",
    response_model=None,
    dependencies=_AS_JSON,
    responses={200: {"model": CareRuleAnswer}},
)
def replace_care_rule(
    ctx: Context,
    wearer_id: Annotated[KnownId, Path(description="whose. Unit: none (identifier)")],
    upper: Annotated[_Upper, Path(description="upper leather. Unit: none (word)")],
    kind: Annotated[_Care, Path(description="kind of care. Unit: none (word)")],
    body: CareRuleAsked,
) -> Response:
    """Change when one kind of care is due on one kind of upper."""
    with ctx.database.writing() as session:
        return json_answer(care.keep_rule(session, wearer_id, upper, kind, body.model_dump()))
