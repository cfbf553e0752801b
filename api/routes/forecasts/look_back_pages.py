"""Page routes of look back.

Which page says how past forecasts did, and how is a new look back asked for?
"""

from __future__ import annotations

import pandas as pd
from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    back_to,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context
from solespan.api.services.forecasts.look_back import kept
from solespan.dashboards.figures.calibration import calibration
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.forecasts.look_back import calibration_frame, look_back_page
from solespan.dashboards.render import figure_json

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)


@router.get("/past-forecasts")
def read_look_back(ctx: Context, request: Request) -> Response:
    """Show how past forecasts did, in words first."""
    with ctx.database.reading() as session:
        found = kept(session)
    looking = ctx.look_back
    context = look_back_page(found, running=looking.running, problem=looking.problem)
    chart = calibration(calibration_frame(found), today=pd.Timestamp(ctx.clock.today()))
    return page_answer(request, "forecasts/look_back.html", context | {"chart": chart})


@router.post("/past-forecasts")
def start_look_back(ctx: Context, request: Request, typed: Typed) -> Response:
    """Begin to look back; the page says when it is done."""
    refuse_foreign_form(request, typed)
    ctx.look_back.start()
    return back_to("/past-forecasts")


@router.get("/past-forecasts/figure.json")
def read_calibration(ctx: Context) -> Response:
    """Draw chances said against what happened, as JSON that the page's script draws."""
    with ctx.database.reading() as session:
        frame = calibration_frame(kept(session))
    drawn = calibration(frame, today=pd.Timestamp(ctx.clock.today()))
    return Response(figure_json(drawn), media_type="application/json")


PAGE = PageEntry(
    router,
    NavEntry("Past forecasts", "/past-forecasts", "shop", rare=True),
    templates=("forecasts/look_back.html",),
)
