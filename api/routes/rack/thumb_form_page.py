"""Page routes of the thumb form: how is a whole thumb check logged on one page, also offline?

The guided check asks the service for each step, so it needs a network. This page holds all spots. A
phone keeps a copy of it, and sends what was felt later, once. A thickness beside a grade teaches
the owner's thumb.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    ACCOUNT,
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    refuse_other_account,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.routes.rack.pair_pages import ours
from solespan.api.schemas.forms import FormProblem
from solespan.api.services.context import AppContext
from solespan.api.services.rack.calibration import read_pressed, thumb_of
from solespan.api.services.rack.log_forms import log_records
from solespan.api.services.rack.pair_names import choose_pairs, label_of
from solespan.dashboards.pages.rack.thumb import thumb_form

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
ADDRESS = "/thumb"
DONE = {"check": "The check is logged.", "same": "That was logged already; nothing changed."}


@router.get(ADDRESS)
def read_form(ctx: Context, request: Request, pair: Words = "", done: Words = "") -> Response:
    """Show all spots of both shoes on one page."""
    return _page(ctx, request, {"pair": pair}, done=DONE.get(done, ""))


@router.post(ADDRESS)
def log_form(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Log what was felt, or show the form again with what is wrong."""
    pair_id = typed.get("pair", "")
    # A check that waited on a phone got its day from the device; it is the same attempt still.
    attempt = {name: text for name, text in typed.items() if name not in ("checked_on", ACCOUNT)}

    def work(session: Session) -> dict[str, Any]:
        label_of(session, pair_id)
        today = ctx.clock.today(choose_pairs(session, pair_id=pair_id).zone)
        told = {**typed, "checked_on": typed.get("checked_on") or today.isoformat()}
        every = read_pressed(pair_id, told)
        replacing = typed.get("replace") == "true"
        return log_records(ctx, session, "checks", every, replacing=replacing, typed=told)

    try:
        ours(request, typed)
        refuse_other_account(request, typed)
        done = do_once(ctx, key, f"POST {ADDRESS}", attempt, work)
    except FormProblem as problem:
        return _page(ctx, request, typed, problem=problem, status=422)
    if done["needs_fit"]:
        ctx.refitter.wake()
    return back_to(ADDRESS, pair=pair_id, done="check" if done["new"] else "same")


def _page(
    ctx: AppContext,
    request: Request,
    typed: dict[str, str],
    *,
    problem: FormProblem | None = None,
    done: str = "",
    status: int = 200,
) -> Response:
    with ctx.database.reading() as session:
        pair_id = typed.get("pair", "")
        known = choose_pairs(session, pair_id=pair_id)
        chosen = any(pair_id == value for value, _ in known.pairs)
        cuts = thumb_of(ctx, session, pair_id) if chosen else None
    context = thumb_form(
        typed,
        errors=problem.errors if problem else {},
        replaceable=problem.replaceable if problem else False,
        question=problem.question if problem else "",
        cuts=cuts,
    )
    context |= {"pairs": known.pairs, "done": done}
    context["today_iso"] = ctx.clock.today(known.zone).isoformat()
    return page_answer(request, "rack/thumb_form.html", context, status)


PAGE = PageEntry(router, under="/log", templates=("rack/thumb_form.html",))
