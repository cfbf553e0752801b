"""What does a browser get to plan a rack, and what do its forms do?"""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from api.errors import Refused, SolespanError
from api.routes.http import Serving
from api.routes.page_http import (
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
)
from api.services.planning import care, plans
from api.services.planning.page import plan_context
from api.storage.planning import plans_of
from api.wiring import Services

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)
DONE = {"plan": "The plan is made.", "care": "That care is logged."}


@router.get("/plan")
def read_plan_page(
    serving: Serving, request: Request, wearer: Words = "", done: Words = ""
) -> HTMLResponse:
    """Show the newest plan, the care that is due, and what each pair costs."""
    return _page(serving, request, wearer, done=DONE.get(done, ""))


@router.post("/plan")
def make_plan(serving: Serving, request: Request, typed: Typed) -> Response:
    """Plan as the form asks, or show the page again with what is wrong."""
    wearer = typed.get("wearer", "")
    try:
        refuse_foreign_form(request, typed)
        asked = plans.plan_rack(
            serving, wearer, _wishes(typed), earlier=_earlier(serving, wearer, typed)
        )
        with serving.database.writing() as session:
            plans.keep(serving, session, asked)
    except SolespanError as error:
        return _page(serving, request, wearer, problem=" ".join(error.lines()), typed=typed)
    return back_to("/plan", wearer=wearer, done="plan")


@router.post("/plan/care")
def log_care(serving: Serving, request: Request, typed: Typed) -> Response:
    """Log that a care was done today."""
    wearer = typed.get("wearer", "")
    try:
        refuse_foreign_form(request, typed)
        with serving.database.writing() as session:
            care.log_care(serving, session, typed.get("pair", ""), typed.get("care", ""), None)
    except SolespanError as error:
        return _page(serving, request, wearer, problem=" ".join(error.lines()))
    return back_to("/plan", wearer=wearer, done="care")


def _wishes(typed: dict[str, str]) -> dict[str, Any]:
    values: dict[str, Any] = {"wear": typed.get("wear", "even")}
    for name in ("weeks", "most_away"):
        text = typed.get(name, "").strip()
        if not text.isascii() or not text.isdigit() or len(text) > 4:
            raise Refused(
                f"{name}: {text!r} is no whole number.",
                where=name,
                accepted="a whole number",
                remedy="Write it in digits.",
            )
        values[name] = int(text)
    on = typed.get("occasion", "").strip()
    if on:
        try:
            day = date.fromisoformat(on)
        except ValueError:
            raise Refused(
                f"{on!r} is no day.",
                where="occasion",
                accepted="YYYY-MM-DD",
                remedy="Choose the day again.",
            ) from None
        values["occasions"] = [{"on": day, "pair_id": typed.get("reserved") or None}]
    return values


def _earlier(serving: Services, wearer: str, typed: dict[str, str]) -> Any:
    if typed.get("again") != "true":
        return None
    with serving.database.reading() as session:
        newest = plans_of(session, wearer, limit=1)
    return plans.earlier_of(newest[0]) if newest else None


def _page(
    serving: Services,
    request: Request,
    wearer: str,
    *,
    done: str = "",
    problem: str = "",
    typed: dict[str, str] | None = None,
) -> HTMLResponse:
    said = {"done": done, "problem": problem, "typed": typed or {}}
    context = plan_context(serving, wearer) | said
    return page_answer(request, "plan.html", context, 422 if problem else 200)
