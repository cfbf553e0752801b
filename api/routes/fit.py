"""How is the wear model's fit started and watched over HTTP?"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from sqlalchemy.orm import Session

from api.routes.http import (
    PROBLEM_ANSWERS,
    IdempotencyKey,
    Serving,
    answer_of,
    json_answer,
    plain,
)
from api.schemas.forecasts import FitState
from api.services.idempotency import Answered, fingerprint_of
from api.wiring import Services

__all__ = ["fit_state", "router"]

router = APIRouter(prefix="/v1/fit", tags=["fit"], responses=PROBLEM_ANSWERS)


@router.get("", response_model=None, responses={200: {"model": FitState}})
def read_fit(serving: Serving) -> Response:
    """Read whether the wear model is fitted, and how far a running fit is."""
    with serving.database.reading() as session:
        return json_answer(fit_state(serving, session))


@router.post("", response_model=None, status_code=202, responses={202: {"model": FitState}})
def start_fit(serving: Serving, key: IdempotencyKey) -> Response:
    """Ask for a new fit; it runs in the background and forecasts everyone when it is done."""

    def work(session: Session) -> Answered:
        return Answered(202, fit_state(serving, session) | {"state": "running"})

    answer = serving.keyring.once("POST /v1/fit", key, fingerprint_of(b"fit"), work)
    if not answer.replayed:
        serving.upkeep.wake(refit=True)
    return answer_of(answer)


def fit_state(serving: Services, session: Session) -> dict[str, Any]:
    """Return the fields of `FitState`."""
    progress = serving.fitter.progress
    stored = serving.forecaster.newest_fit(session)
    state = "none" if stored is None else "fitted"
    if progress.problem is not None:
        state = "failed"
    if progress.running or serving.upkeep.refit_waiting:
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
        "pending_wearers": serving.forecaster.count_behind(session),
    }
