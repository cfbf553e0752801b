"""Page routes of the plan: what does a browser get to plan a rack, and what do its forms do?"""

from __future__ import annotations

from typing import Any

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
from solespan.api.services.planning import plans
from solespan.api.services.planning.page import plan_values
from solespan.api.services.planning.plan_form import wishes_typed
from solespan.api.services.planning.plans import plans_of
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.planning.plan import plan_page

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
DONE = {"plan": "The plan is made."}


@router.get("/plan")
def read_plan_page(
    ctx: Context, request: Request, wearer: Words = "", done: Words = ""
) -> HTMLResponse:
    """Show the newest plan, whether care is due, and what each pair costs."""
    return _page(ctx, request, wearer, done=DONE.get(done, ""))


@router.post("/plan")
def make_plan(ctx: Context, request: Request, typed: Typed) -> Response:
    """Plan as the form asks, or show the page again with what is wrong."""
    wearer = typed.get("wearer", "")
    try:
        refuse_foreign_form(request, typed)
        asked = plans.plan_rack(
            ctx, wearer, wishes_typed(typed), earlier=_earlier(ctx, wearer, typed)
        )
        with ctx.database.writing() as session:
            plans.keep(ctx, session, asked)
    except SolespanError as error:
        return _page(ctx, request, wearer, problem=told(error), typed=typed)
    return back_to("/plan", wearer=wearer, done="plan")


def _earlier(ctx: AppContext, wearer: str, typed: dict[str, str]) -> Any:
    if typed.get("again") != "true":
        return None
    with ctx.database.reading() as session:
        newest = plans_of(session, wearer, limit=1)
    return plans.earlier_of(newest[0]) if newest else None


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
    values = plan_values(ctx, wearer)
    context = values.pop("more") | plan_page(**values) | said
    return page_answer(request, "planning/plan.html", context, 422 if problem else 200)


PAGE = PageEntry(router, NavEntry("Plan", "/plan", first=True), templates=("planning/plan.html",))
