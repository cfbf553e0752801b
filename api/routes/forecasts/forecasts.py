"""HTTP routes of forecasts.

How are stored forecasts, their explanation and a pair's wear path read over HTTP?
"""

from __future__ import annotations

from typing import Annotated, Any

import pandas as pd
from fastapi import APIRouter, Depends, Path, Query, Request, Response

from solespan.api.routes.http.query import query_description, query_reader
from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    after_of,
    content_etag,
    cursor_of,
    plain,
    rows_answer,
    unless_same,
)
from solespan.api.schemas.fields import KnownId, PlainDate
from solespan.api.schemas.forecasts.forecasts import (
    ForecastFilters,
    ForecastPage,
    PairForecast,
    PathFilters,
    WearPath,
)
from solespan.api.services.forecasts.forecast_file import explanation_body
from solespan.api.services.forecasts.forecasting import (
    DueFilter,
    forecast_of_pair,
    list_due,
    wearer_of_pair,
)
from solespan.api.services.unknown_id import unknown_id

__all__ = ["router"]

router = APIRouter(prefix="/v1/forecasts", tags=["forecasts"], responses=PROBLEM_ANSWERS)

PairId = Annotated[KnownId, Path(description="the pair. Unit: none (identifier)")]
_SORT_KEY = (PlainDate | None, KnownId, str, str)


@router.get(
    "",
    response_model=None,
    responses={200: {"model": ForecastPage}},
    openapi_extra=query_description(ForecastFilters),
)
def list_forecasts(
    ctx: Context,
    request: Request,
    chosen: Annotated[ForecastFilters, Depends(query_reader(ForecastFilters))],  # type: ignore[valid-type]
) -> Response:
    """List stored forecast rows by send-by date; those without one come last."""
    given: dict[str, Any] = chosen.model_dump()  # type: ignore[attr-defined]
    limit, cursor = given.pop("limit"), given.pop("after")
    after = after_of(cursor, _SORT_KEY)
    with ctx.database.looking() as connection:
        rows = list_due(connection, DueFilter(**given), after=after, limit=limit + 1)
    more = len(rows) > limit
    rows = rows[:limit]
    last = [rows[-1][name] for name in ("send_by", "pair_id", "foot", "point")] if more else []
    return rows_answer(request, rows, cursor_of(last) if more else None)


@router.get("/{pair_id}", response_model=None, responses={200: {"model": PairForecast}})
def read_forecast(ctx: Context, request: Request, pair_id: PairId) -> Response:
    """Read the stored rows of one pair, and in sentences what drives its date."""
    with ctx.database.reading() as session:
        rows = forecast_of_pair(session, pair_id)
        if rows:
            told = explanation_body(ctx.forecaster.explanation(session, pair_id))
        elif wearer_of_pair(session, pair_id) is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        else:
            told = {"sentences": [], "drivers": [], "next_checks": []}
    body = {
        "pair_id": pair_id,
        "state": "ready" if rows else "pending",
        "rows": [plain(row) for row in rows],
        **told,
    }
    return unless_same(request, content_etag(body), body)


@router.get("/{pair_id}/path", response_model=None, responses={200: {"model": WearPath}})
def read_wear_path(
    ctx: Context,
    request: Request,
    pair_id: PairId,
    chosen: Annotated[PathFilters, Query()],
) -> Response:
    """Read the fitted and expected thickness of one pair, foot by foot and point by point."""
    with ctx.database.reading() as session:
        frame, as_of = ctx.forecaster.path(session, pair_id)
    for column, word in (("foot", chosen.foot), ("point", chosen.point)):
        if word is not None:
            frame = frame[frame[column] == word]
    body = {"pair_id": pair_id, "as_of": as_of.isoformat(), "series": _series(frame)}
    return unless_same(request, content_etag(body), body)


def _series(frame: pd.DataFrame) -> list[dict[str, Any]]:
    series = []
    for (sole_id, foot, point), part in frame.groupby(["sole_id", "foot", "point"], sort=False):
        limit_mm = part["limit_mm"].iloc[0]
        numbers = {
            name: [None if pd.isna(value) else round(float(value), 4) for value in part[name]]
            for name in ("thickness_mm_p10", "thickness_mm_p50", "thickness_mm_p90")
        }
        series.append(
            {
                "sole_id": sole_id,
                "foot": foot,
                "point": point,
                "limit_mm": None if pd.isna(limit_mm) else float(limit_mm),
                "on_date": [day.date().isoformat() for day in part["on_date"]],
                **numbers,
                "ahead": [bool(flag) for flag in part["ahead"]],
            }
        )
    return series
