"""HTTP routes of fit: how is the wear model's fit started and watched over HTTP?"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    json_answer,
    plain,
)
from solespan.api.schemas.forecasts.forecasts import FitState
from solespan.api.services.context import AppContext
from solespan.api.services.idempotency import Answered, fingerprint_of

__all__ = ["fit_state", "router"]

router = APIRouter(prefix="/v1/fit", tags=["forecasts"], responses=PROBLEM_ANSWERS)


@router.get("", response_model=None, responses={200: {"model": FitState}})
def read_fit(ctx: Context) -> Response:
    """Read whether the wear model is fitted, and how far a running fit is."""
    with ctx.database.reading() as session:
        return json_answer(fit_state(ctx, session))


@router.post("", response_model=None, status_code=202, responses={202: {"model": FitState}})
def start_fit(ctx: Context, key: IdempotencyKey) -> Response:
    """Ask for a new fit; it runs in the background and forecasts everyone when it is done."""

    def work(session: Session) -> Answered:
        return Answered(202, fit_state(ctx, session) | {"state": "running"})

    answer = ctx.idempotency.once("POST /v1/fit", key, fingerprint_of(b"fit"), work)
    if not answer.replayed:
        ctx.refitter.wake(refit=True)
    return answer_of(answer)


def fit_state(ctx: AppContext, session: Session) -> dict[str, Any]:
    """Return the fields of `FitState`."""
    progress = ctx.fitter.progress
    stored = ctx.forecaster.newest_fit(session)
    state = "none" if stored is None else "fitted"
    if progress.problem is not None:
        state = "failed"
    if progress.running or ctx.refitter.refit_waiting:
        state = "running"
    row = {} if stored is None else plain(stored.row)
    return {
        "state": state,
        "step": progress.step,
        "fraction": progress.fraction,
        "problem": progress.problem,
        "fit_id": row.get("fit_id"),
        "as_of": row.get("as_of"),
        "fitted_at": row.get("fitted_at"),
        "pending_wearers": ctx.forecaster.count_behind(session),
    }
