"""Page routes of the plan: what does a browser get to plan a rack, and what do its forms do?"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context
from solespan.api.services.context import AppContext
from solespan.api.services.planning.asked_plans import ask_plan, keep_preferences
from solespan.api.services.planning.page import plan_values
from solespan.api.services.planning.plan_form import wishes_typed
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.planning.plan import plan_page

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
DONE = {"plan": "Your wishes are kept."}


@router.get("/plan")
def read_plan_page(
    ctx: Context, request: Request, wearer: Words = "", done: Words = ""
) -> HTMLResponse:
    """Show the newest plan, and whether care is due; nothing is planned here."""
    return _page(ctx, request, wearer, done=DONE.get(done, ""))


@router.post("/plan")
def make_plan(ctx: Context, request: Request, typed: Typed) -> Response:
    """Ask for a plan as the form says, or show the page again with what is wrong."""
    wearer = typed.get("wearer", "")
    try:
        refuse_foreign_form(request, typed)
        wishes = wishes_typed(typed)
        with ctx.database.writing() as session:
            keep_preferences(session, wearer, typed)
        ask_plan(ctx, wearer, wishes, again=typed.get("again") == "true")
    except SolespanError as error:
        return _page(ctx, request, wearer, problem=told(error), typed=typed)
    return back_to("/plan", wearer=wearer, done="plan")


def _page(
    ctx: AppContext,
    request: Request,
    wearer: str,
    *,
    done: str = "",
    problem: str = "",
    typed: dict[str, str] | None = None,
) -> HTMLResponse:
    said = {"done": done, "problem": problem, "typed": typed or {}}
    values = plan_values(ctx, wearer, typed or {})
    context = values.pop("more") | plan_page(**values) | said
    return page_answer(request, "planning/plan.html", context, 422 if problem else 200)


PAGE = PageEntry(router, NavEntry("Plan", "/plan", first=True), templates=("planning/plan.html",))
