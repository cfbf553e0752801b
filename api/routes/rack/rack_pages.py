"""Page routes of rack.

Which pages stand beside the rack: care due, wears of the last weeks, dates with and without a plan?
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.services.planning.care import (
    care_seen,
    log_all_care,
    log_care,
    start_counting,
)
from solespan.api.services.rack.rack_extras_page import rotation_seen, spread_values, whose
from solespan.api.services.rack.rack_page import people_and_pairs
from solespan.dashboards.figures import FIGURES
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.forecasts.spread import spread_page
from solespan.dashboards.pages.planning.care import care_page
from solespan.dashboards.pages.planning.rotation import MOST_STRIPS, ROTATION_DAYS, rotation
from solespan.dashboards.pages.rack.pictures import pictures_of
from solespan.dashboards.pages.rack.rack import search_for, who_is_meant
from solespan.dashboards.render import inline_figure

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
DONE = {
    "care": "That care is logged.",
    "all": "All care of that pair is logged.",
    "start": "Care is counted from today on.",
}


@router.post("/find")
def find(ctx: Context, request: Request, typed: Typed) -> Response:
    """Lead to the pairs searched for; people's names are sent, and never stand in an address."""
    refuse_foreign_form(request, typed)
    people, words = who_is_meant(*people_and_pairs(ctx), typed.get("q", ""))
    wearer, band, order = (typed.get(name, "") for name in ("wearer", "band", "order"))
    if people is None:
        return back_to("/", wearer=wearer, band=band, q=words, order=order)
    if len(people) == 1:
        return back_to("/", wearer=next(iter(people)), band=band, q=words, order=order)
    asked = {"band": band, "q": words, "order": order}
    kept = {name: value for name, value in asked.items() if value}
    return page_answer(request, "rack/found.html", {"people": people, "kept": kept})


@router.get("/care")
def read_care(ctx: Context, request: Request, wearer: Words = "", done: Words = "") -> Response:
    """Show the care that is due on one rack, each with its action."""
    wearer_id, wearers, _ = whose(ctx, wearer)
    context: dict[str, Any] = care_page([])
    if wearer_id:
        items, pairs = care_seen(ctx, wearer_id)
        context = care_page(items, pictures_of(pairs))
    context |= {"wearer_id": wearer_id, "wearers": wearers, "done": DONE.get(done, "")}
    return page_answer(request, "planning/care.html", context)


@router.post("/care")
def log_care_done(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Log that a care, or all care of a pair, was done today; or count from today on."""
    refuse_foreign_form(request, typed)
    pair_id, wearer_id, care = (typed.get(name, "") for name in ("pair", "wearer", "care"))

    def log(session: Session) -> dict[str, Any]:
        if care == "all":
            return log_all_care(ctx, session, pair_id)
        if care == "start":
            return start_counting(ctx, session, wearer_id)
        return log_care(ctx, session, pair_id, care, None)

    do_once(ctx, key, "POST /care", typed, log)
    upkeep = f"/pairs/{quote(pair_id, safe='')}/upkeep"
    if typed.get("from") == upkeep:
        return back_to(upkeep)
    return back_to("/care", wearer=wearer_id, done=care if care in DONE else "care")


@router.get("/rotation")
def read_rotation(
    ctx: Context, request: Request, wearer: Words = "", band: Words = "", q: Words = ""
) -> Response:
    """Show the wears of the last weeks, of the pairs searched for."""
    del band  # what was worn is shown whatever has become of it
    seen = rotation_seen(ctx, wearer, search_for(q), days=ROTATION_DAYS, most=MOST_STRIPS)
    context = {"rotation": rotation(**seen), "wearer_id": wearer}
    return page_answer(request, "planning/rotation.html", context)


@router.get("/spread")
def read_spread(ctx: Context, request: Request, wearer: Words = "") -> Response:
    """Compare the due dates of one rack with the plan and without."""
    values = spread_values(ctx, wearer)
    frame, today = values["what_if"], values["today"]
    drawn = None if frame is None else FIGURES["due_spread"].draw(frame, today=today)
    context = spread_page(**values)
    context |= {"figure_json": "" if drawn is None else inline_figure(drawn), "chart": drawn}
    return page_answer(request, "forecasts/spread.html", context)


PAGE = PageEntry(
    router,
    NavEntry("Care", "/care", first=True),
    templates=("planning/care.html",),
    # sent as a form only so that no name stands in its address
    needs=(Need("/find", "read", "read"),),
)
