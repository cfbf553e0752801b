"""HTTP routes of calibrations: how does a thickness beside a thumb grade teach an owner's thumb?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Response
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, Refused
from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    needs_json,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.forecasts.calibration import CalibrationCreate, CalibrationDone
from solespan.api.schemas.forms import FormProblem
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.rack.calibration import calibrate
from solespan.api.services.rack.pair_names import choose_pairs, label_of

__all__ = ["router"]

router = APIRouter(prefix="/v1/pairs", tags=["rack"], responses=PROBLEM_ANSWERS)
PairId = Annotated[KnownId, Path(description="the pair. Unit: none (identifier)")]


@router.post(
    "/{pair_id}/calibrations",
    response_model=None,
    responses={200: {"model": CalibrationDone}},
    dependencies=[Depends(needs_json)],
)
def create_calibration(
    ctx: Context, pair_id: PairId, body: CalibrationCreate, key: IdempotencyKey
) -> Response:
    """Log a thumb grade and a thickness of one spot, and say what they taught of the thumb."""
    typed = {
        f"{body.foot}-ball": body.grade,
        body.foot: "" if body.value_mm is None else str(body.value_mm),
        "method": body.method or "",
        "sure": "true" if body.sure else "",
    }
    left = False

    def work(session: Session) -> Answered:
        nonlocal left
        label_of(session, pair_id)
        today = ctx.clock.today(choose_pairs(session, pair_id=pair_id).zone)
        day = (body.checked_on or today).isoformat()
        done = calibrate(ctx, session, pair_id, typed | {"checked_on": day})
        left = done.needs_fit
        return Answered(200, {"new": done.new, "before": done.before, "now": done.now})

    route = f"POST /v1/pairs/{pair_id}/calibrations"
    try:
        fingerprint = fingerprint_of(route.encode(), body.model_dump_json().encode())
        answer = ctx.idempotency.once("POST /v1/calibrations", key, fingerprint, work)
    except FormProblem as problem:
        raise _refusal(problem) from problem
    if left:
        ctx.refitter.wake()
    return answer_of(answer)


def _refusal(problem: FormProblem) -> Refused | Conflict:
    where = ", ".join(field for field in problem.errors if field) or "calibration"
    if problem.question:
        return Refused(
            problem.question,
            where=where,
            accepted="a grade that goes with the thickness",
            remedy="Look again, or send it once more with sure: true.",
        )
    what = "; ".join(dict.fromkeys(problem.errors.values()))
    if problem.replaceable:
        return Conflict(
            f"The calibration is not logged: {what}.",
            where=where,
            remedy="Replace the check at /v1/checks, or choose another day.",
        )
    return Refused(
        f"The calibration is not logged: {what}.",
        where=where,
        accepted="foot, grade, and value_mm with its method",
        remedy="Correct it and send it again.",
    )
