"""Health routes: is the process alive, and can it do its work?"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from solespan.api.errors import DatabaseUnavailable
from solespan.api.routes.forecasts.fit import fit_state
from solespan.api.routes.http.requests import PROBLEM_ANSWERS, Context, json_answer
from solespan.api.schemas.service import Alive, Ready
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.readiness import has_our_schema

__all__ = ["router"]

router = APIRouter(prefix="/v1/health", tags=["service"], responses=PROBLEM_ANSWERS)


@router.get("/live", response_model=None, responses={200: {"model": Alive}})
def read_liveness() -> Response:
    """Answer as long as the process runs; nothing else is checked."""
    return json_answer({"status": "alive"})


@router.get("/ready", response_model=None, responses={200: {"model": Ready}})
def read_readiness(ctx: Context, request: Request) -> Response:
    """Answer 200 when the database answers and has this program's schema, else 503.

    Only a sender who may manage the tenant is told more.
    """
    if not has_our_schema(ctx.database):
        raise DatabaseUnavailable(
            "The database does not have this program's schema.",
            remedy="Run: solespan migrate",
        )
    who: Identity | None = request.state.identity
    if who is None or "manage" not in who.may:
        return json_answer({"status": "ready"})
    with ctx.database.reading() as session:
        fit = fit_state(ctx, session)["state"]
    return json_answer({"status": "ready", "database": "ready", "fit": fit})
