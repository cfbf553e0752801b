"""HTTP routes of the look back: how is the newest one read over HTTP?"""

from __future__ import annotations

from fastapi import APIRouter, Response

from solespan.api.errors import NothingForecast
from solespan.api.routes.http.requests import PROBLEM_ANSWERS, Context, json_answer
from solespan.api.schemas.forecasts.look_back import PastForecasts
from solespan.api.services.forecasts.look_back import kept

__all__ = ["router"]

router = APIRouter(prefix="/v1/past-forecasts", tags=["forecasts"], responses=PROBLEM_ANSWERS)


@router.get("", response_model=None, responses={200: {"model": PastForecasts}})
def read_past_forecasts(ctx: Context) -> Response:
    """Read how good forecasts of the past would have been, from the newest look back."""
    with ctx.database.reading() as session:
        found = kept(session)
    if found is None:
        raise NothingForecast(
            "Nobody has looked back yet.",
            where="past forecasts",
            remedy="Look back on the page Past forecasts, or run: solespan backtest",
        )
    return json_answer(found)
