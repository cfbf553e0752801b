"""Which pages stand beside the rack: care due, who was worn when, dates with and without a plan?"""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request, Response

from api.routes.http import IdempotencyKey, Serving
from api.routes.page_http import (
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    refuse_foreign_form,
)
from api.services.beside_rack import care_context, rotation_context, spread_context
from api.services.pages import find_on_rack
from api.services.planning.care import log_care

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)
DONE = {"care": "That care is logged."}


@router.post("/find")
def find(serving: Serving, request: Request, typed: Typed) -> Response:
    """Lead to the pairs searched for; people's names are sent, and never stand in an address."""
    refuse_foreign_form(request, typed)
    people, words = find_on_rack(serving, typed.get("q", ""))
    wearer, band = typed.get("wearer", ""), typed.get("band", "")
    if people is None:
        return back_to("/", wearer=wearer, band=band, q=words)
    if len(people) == 1:
        return back_to("/", wearer=next(iter(people)), band=band, q=words)
    kept = {name: value for name, value in {"band": band, "q": words}.items() if value}
    return page_answer(request, "found.html", {"people": people, "kept": kept})


@router.get("/care")
def read_care(serving: Serving, request: Request, wearer: Words = "", done: Words = "") -> Response:
    """Show the care that is due on one rack, each with its action."""
    context = care_context(serving, wearer)
    return page_answer(request, "care.html", context | {"done": DONE.get(done, "")})


@router.post("/care")
def log_care_done(
    serving: Serving, request: Request, typed: Typed, key: IdempotencyKey
) -> Response:
    """Log that a care was done today."""
    refuse_foreign_form(request, typed)
    pair_id = typed.get("pair", "")
    do_once(
        serving,
        key,
        "POST /care",
        typed,
        lambda session: log_care(serving, session, pair_id, typed.get("care", ""), None),
    )
    upkeep = f"/pairs/{quote(pair_id, safe='')}/upkeep"
    if typed.get("from") == upkeep:
        return back_to(upkeep)
    return back_to("/care", wearer=typed.get("wearer", ""), done="care")


@router.get("/rotation")
def read_rotation(
    serving: Serving, request: Request, wearer: Words = "", band: Words = "", q: Words = ""
) -> Response:
    """Show who was worn when in the last weeks, of the pairs searched for."""
    del band  # what was worn is shown whatever has become of it
    return page_answer(request, "rotation.html", rotation_context(serving, wearer, q))


@router.get("/spread")
def read_spread(serving: Serving, request: Request, wearer: Words = "") -> Response:
    """Compare the due dates of one rack with the plan and without."""
    return page_answer(request, "spread.html", spread_context(serving, wearer))
