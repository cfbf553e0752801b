"""Page routes of sole.

How does an owner hand a pair over, receive it back, fit a sole, and retire it?
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from solespan.api.errors import Refused
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import PageRoute, Typed, back_to, do_once, page_answer
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.routes.rack.pair_pages import form_state, ours, pair_address
from solespan.api.schemas.forms import FormProblem, with_answer
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import current_revision_id
from solespan.api.services.rack.pair_forms import sole_on
from solespan.api.services.rack.pair_page import pair_name
from solespan.api.services.rack.sole_forms import (
    end_sole,
    fit_sole,
    give_up,
    open_job,
    receive_pair,
    say_in_use,
    send_pair,
)
from solespan.dashboards.pages.rack.add import sole_choices
from solespan.dashboards.pages.rack.pair import FormState
from solespan.dashboards.pages.rack.sole import sole_page

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
FORMS = ("send", "back", "fit", "end")
NOTICES = "/notices"
Work = Callable[[Session], dict[str, Any]]
Step = Callable[[AppContext, Session, str, dict[str, str]], Any]


@router.get("/pairs/{pair_id:path}/sole")
def read_sole_page(ctx: Context, request: Request, pair_id: str) -> Response:
    """Show what can be done next: hand over or receive back, fit a sole, retire."""
    return _page(ctx, request, pair_id, {})


def _let(name: str, step: Step, done: str) -> None:
    """Add the route of one form: it logs a step, or shows the page again with what is wrong."""

    @router.post(f"/pairs/{{pair_id:path}}/{name}", name=f"post_{name}")
    def post_step(
        ctx: Context, request: Request, pair_id: str, typed: Typed, key: IdempotencyKey
    ) -> Response:
        typed = with_answer(typed)

        def work(session: Session) -> dict[str, Any]:
            step(ctx, session, pair_id, typed)
            return {"done": done, "undo": current_revision_id()}

        return _do(ctx, request, pair_id, typed, key, name, work)


_let("send", send_pair, "sent")
_let("back", receive_pair, "back")
_let("fit", fit_sole, "soled")
_let("end", end_sole, "ended")
_let("in-use", say_in_use, "in_use")
_let("gone", give_up, "ended")


def _do(
    ctx: AppContext,
    request: Request,
    pair_id: str,
    typed: dict[str, str],
    key: str | None,
    name: str,
    work: Work,
) -> Response:
    try:
        ours(request, typed)
        done = do_once(ctx, key, f"POST {pair_address(pair_id, name)}", typed, work)
    except FormProblem as problem:
        return _page(ctx, request, pair_id, {name: form_state(typed, problem)})
    except Refused as refused:
        return _page(ctx, request, pair_id, {}, problem=f"{refused.what} {refused.remedy}")
    if typed.get("from") == NOTICES:
        return back_to(NOTICES, done=done["done"], undo=done["undo"])
    return back_to(pair_address(pair_id), done=done["done"], undo=done["undo"])


def _page(
    ctx: AppContext,
    request: Request,
    pair_id: str,
    forms: dict[str, FormState],
    problem: str = "",
) -> Response:
    named = pair_name(ctx, pair_id)
    with ctx.database.reading() as session:
        job, sole = open_job(session, pair_id), sole_on(session, pair_id)
    states = {name: FormState() for name in FORMS} | forms
    context = sole_choices() | named | sole_page(job, sole) | states | {"problem": problem}
    return page_answer(request, "rack/sole.html", context, 422 if forms or problem else 200)


PAGE = PageEntry(router)
