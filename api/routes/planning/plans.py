"""HTTP routes of plans: how are a rack's plans made, read and tried out over HTTP?"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    content_etag,
    json_answer,
    needs_json,
    unless_same,
)
from solespan.api.schemas.fields import KnownId, PlainDate
from solespan.api.schemas.planning.planning import (
    DayReasons,
    PlanAsked,
    PlanPage,
    PlanShown,
    WhatIfAnswer,
    WhatIfAsked,
)
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.planning import plans
from solespan.api.services.planning.habits import forecasts_if
from solespan.api.services.planning.plans import plans_of
from solespan.api.services.planning.rack import known_wearer

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["planning"], responses=PROBLEM_ANSWERS)
MOST_PLANS = 50
SUMMARY = ("plan_id", "wearer_id", "made_at", "starts_on", "weeks", "score", "bound", "gap")
WearerId = Annotated[KnownId, Query(description="whose rack. Unit: none (identifier)")]
PlanId = Annotated[KnownId, Path(description="the plan. Unit: none (identifier)")]
_AS_JSON = [Depends(needs_json)]


@router.post(
    "/what-if",
    response_model=None,
    dependencies=_AS_JSON,
    responses={200: {"model": WhatIfAnswer}},
)
def ask_what_if(ctx: Context, body: WhatIfAsked, key: IdempotencyKey) -> Response:
    """Forecast a rack as it is and under other habits; nothing is kept."""
    del key  # nothing is made, so nothing can be made twice
    habits = [habit.model_dump(exclude_none=True) for habit in body.habits]
    answer = forecasts_if(
        ctx, body.wearer_id, habits, rest_days=body.rest_days, plan_id=body.plan_id
    )
    return json_answer(answer)


@router.post(
    "/rack-plans",
    response_model=None,
    status_code=201,
    dependencies=_AS_JSON,
    responses={201: {"model": PlanShown}},
)
def make_rack_plan(ctx: Context, body: PlanAsked, key: IdempotencyKey) -> Response:
    """Plan a rack, and keep the plan."""
    wishes = body.model_dump(exclude={"wearer_id", "starts_on", "again"})

    def work() -> Answered:
        earlier = None
        if body.again is not None:
            with ctx.database.reading() as session:
                earlier = plans.earlier_of(plans.read_plan(session, body.again))
        asked = plans.plan_rack(
            ctx, body.wearer_id, wishes, starts_on=body.starts_on, earlier=earlier
        )
        with ctx.database.writing() as session:
            shown = plans.keep(ctx, session, asked)
        return Answered(201, shown, {"location": f"/v1/rack-plans/{shown['plan_id']}"})

    route = "POST /v1/rack-plans"
    fingerprint = fingerprint_of(route.encode(), body.model_dump_json().encode())
    return answer_of(ctx.idempotency.once_beside(route, key, fingerprint, work))


@router.get("/rack-plans", response_model=None, responses={200: {"model": PlanPage}})
def list_rack_plans(
    ctx: Context,
    wearer_id: WearerId,
    limit: Annotated[
        int, Query(ge=1, le=MOST_PLANS, description="at most so many. Unit: plans")
    ] = 10,
) -> Response:
    """List the newest plans of an owner."""
    with ctx.database.reading() as session:
        known_wearer(session, wearer_id)
        rows = [plans.shown_plan(row) for row in plans_of(session, wearer_id, limit=limit)]
    names = (*SUMMARY, "fewest_proven", "given_up")
    return json_answer({"items": [{name: row[name] for name in names} for row in rows]})


@router.get("/rack-plans/{plan_id}", response_model=None, responses={200: {"model": PlanShown}})
def read_rack_plan(ctx: Context, request: Request, plan_id: PlanId) -> Response:
    """Read one plan: days, hand-overs, and why each pair is or is not proposed."""
    with ctx.database.reading() as session:
        body = plans.shown_plan(_row(session, plan_id))
    return unless_same(request, content_etag(body), body)


@router.get(
    "/rack-plans/{plan_id}/days/{on}",
    response_model=None,
    responses={200: {"model": DayReasons}},
)
def read_rack_plan_day(
    ctx: Context,
    plan_id: PlanId,
    on: Annotated[PlainDate, Path(description="the day. Unit: calendar date, ISO 8601")],
) -> Response:
    """Say for each pair why it is worn on a day of a plan, or why not."""
    with ctx.database.reading() as session:
        row = _row(session, plan_id)
    items = plans.reasons_on(row, on)
    return json_answer({"plan_id": plan_id, "on": on.isoformat(), "items": items})


def _row(session: Session, plan_id: str) -> dict[str, Any]:
    return plans.read_plan(session, plan_id)
