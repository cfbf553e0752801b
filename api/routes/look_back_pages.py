"""Which page says how past forecasts did, and how is a new look back asked for?"""

from __future__ import annotations

import pandas as pd
from fastapi import APIRouter, Request, Response

from api.routes.http import Serving
from api.routes.page_http import PageRoute, Typed, back_to, page_answer, refuse_foreign_form
from api.services.look_back import kept
from dashboards.figures.calibration import calibration
from dashboards.pages.look_back import calibration_frame, look_back_page
from dashboards.render import figure_json

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)


@router.get("/past-forecasts")
def read_look_back(serving: Serving, request: Request) -> Response:
    """Show how past forecasts did, in words first."""
    with serving.database.reading() as session:
        found = kept(session)
    looking = serving.look_back
    context = look_back_page(found, running=looking.running, problem=looking.problem)
    return page_answer(request, "look_back.html", context)


@router.post("/past-forecasts")
def start_look_back(serving: Serving, request: Request, typed: Typed) -> Response:
    """Begin to look back; the page says when it is done."""
    refuse_foreign_form(request, typed)
    serving.look_back.start()
    return back_to("/past-forecasts")


@router.get("/past-forecasts/figure.json")
def read_calibration(serving: Serving) -> Response:
    """Draw chances said against what happened, as JSON that the page's script draws."""
    with serving.database.reading() as session:
        frame = calibration_frame(kept(session))
    drawn = calibration(frame, today=pd.Timestamp(serving.clock.today()))
    return Response(figure_json(drawn), media_type="application/json")
