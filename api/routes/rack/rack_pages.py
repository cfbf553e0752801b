"""Page routes of rack.

Which pages stand beside the rack: care due, wears of the last weeks, dates with and without a plan?
"""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request, Response

from solespan.api.routes.http import Context, IdempotencyKey
from solespan.api.routes.page_http import (
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.services.planning.care import log_care
from solespan.api.services.rack.rack_extras_page import (
    care_context,
    rotation_context,
    spread_context,
)
from solespan.api.services.rack.rack_page import find_on_rack

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)
DONE = {"care": "That care is logged."}


@router.post("/find")
def find(ctx: Context, request: Request, typed: Typed) -> Response:
    """Lead to the pairs searched for; people's names are sent, and never stand in an address."""
    refuse_foreign_form(request, typed)
    people, words = find_on_rack(ctx, typed.get("q", ""))
    wearer, band = typed.get("wearer", ""), typed.get("band", "")
    if people is None:
        return back_to("/", wearer=wearer, band=band, q=words)
    if len(people) == 1:
        return back_to("/", wearer=next(iter(people)), band=band, q=words)
    kept = {name: value for name, value in {"band": band, "q": words}.items() if value}
    return page_answer(request, "rack/found.html", {"people": people, "kept": kept})


@router.get("/care")
def read_care(ctx: Context, request: Request, wearer: Words = "", done: Words = "") -> Response:
    """Show the care that is due on one rack, each with its action."""
    context = care_context(ctx, wearer)
    return page_answer(request, "planning/care.html", context | {"done": DONE.get(done, "")})


@router.post("/care")
def log_care_done(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Log that a care was done today."""
    refuse_foreign_form(request, typed)
    pair_id = typed.get("pair", "")
    do_once(
        ctx,
        key,
        "POST /care",
        typed,
        lambda session: log_care(ctx, session, pair_id, typed.get("care", ""), None),
    )
    upkeep = f"/pairs/{quote(pair_id, safe='')}/upkeep"
    if typed.get("from") == upkeep:
        return back_to(upkeep)
    return back_to("/care", wearer=typed.get("wearer", ""), done="care")


@router.get("/rotation")
def read_rotation(
    ctx: Context, request: Request, wearer: Words = "", band: Words = "", q: Words = ""
) -> Response:
    """Show who was worn when in the last weeks, of the pairs searched for."""
    del band  # what was worn is shown whatever has become of it
    return page_answer(request, "planning/rotation.html", rotation_context(ctx, wearer, q))


@router.get("/spread")
def read_spread(ctx: Context, request: Request, wearer: Words = "") -> Response:
    """Compare the due dates of one rack with the plan and without."""
    return page_answer(request, "forecasts/spread.html", spread_context(ctx, wearer))
