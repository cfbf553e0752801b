"""Page routes of past days.

What does a browser get of a month's wears, and what happens to the ticks and paces it posts?
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    TOKEN,
    PageRoute,
    Words,
    back_to,
    do_once,
    number_of,
    page_answer,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.routes.rack.pair_pages import ours
from solespan.api.schemas.forms import FormProblem
from solespan.api.schemas.rack.wear_grid import month_of, read_grid, read_paces
from solespan.api.services.context import AppContext
from solespan.api.services.rack.pace_form import save_paces
from solespan.api.services.rack.rack_extras_page import whose
from solespan.api.services.rack.wear_grid import GridProblem, grid_values, save_grid
from solespan.dashboards import wording
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.rack.pair import FormState
from solespan.dashboards.pages.rack.wear_grid import wear_grid

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
Items = list[tuple[str, str]]
MOST_FIELDS = 4000  # 40 pairs of 31 days, each ticked and asked about, and their hidden fields


async def _items(request: Request) -> Items:
    """Read every field in order: a grid has more of them than other forms, and names twice."""
    form = await request.form(max_files=0, max_fields=MOST_FIELDS)
    return [(name, value) for name, value in form.multi_items() if isinstance(value, str)]


Fields = Annotated[Items, Depends(_items)]


@router.get("/log")
def read_log(
    ctx: Context,
    request: Request,
    wearer: Words = "",
    month: Words = "",
    week: Words = "",
    page: Words = "",
    done: Words = "",
) -> Response:
    """Show one month of one wearer's pairs, as boxes to tick."""
    return _log_page(
        ctx,
        request,
        {"wearer": wearer, "month": month, "week": week, "page": page},
        done=_said(done),
    )


@router.post("/log")
def save_log(ctx: Context, request: Request, fields: Fields, key: IdempotencyKey) -> Response:
    """Save the ticks that differ, or show them again with what keeps them from being saved."""
    place = _place(fields)
    try:
        ours(request, dict(fields))
        form = read_grid(fields)
        done = do_once(
            ctx, key, "POST /log", _attempt(fields), lambda session: save_grid(ctx, session, form)
        )
    except FormProblem as problem:
        return _log_page(ctx, request, place, problem=problem)
    if done["needs_fit"]:
        ctx.refitter.wake()
    counts = "-".join(str(done[name]) for name in ("added", "deleted", "stayed"))
    return back_to("/log", **place, done=counts)


@router.post("/log/pace")
def save_pace(ctx: Context, request: Request, fields: Fields, key: IdempotencyKey) -> Response:
    """Keep what is stated about how often pairs are worn."""
    place = _place(fields)
    stated: list[tuple[str, str, str, str]] = []
    try:
        ours(request, dict(fields))
        stated = read_paces(fields)
        done = do_once(
            ctx,
            key,
            "POST /log/pace",
            _attempt(fields),
            lambda session: save_paces(ctx, session, stated),
        )
    except FormProblem as problem:
        typed = {record_id: text for _, record_id, _, text in stated}
        return _log_page(ctx, request, place, problem=problem, paces=typed)
    if done["needs_fit"]:
        ctx.refitter.wake()
    return back_to("/log", **place, done="pace" if done["changed"] else "0-0-0")


def _place(fields: Items) -> dict[str, str]:
    typed = dict(fields)
    return {name: typed.get(name, "") for name in ("wearer", "month", "week", "page")}


def _attempt(fields: Items) -> dict[str, str]:
    return {"fields": repr([one for one in fields if one[0] != TOKEN])}


def _said(done: str) -> str:
    """Say what was saved, from the counts in the address."""
    if done == "pace":
        return "What you said about the pace is kept."
    counts = done.split("-")
    if len(counts) != 3 or not all(count.isascii() and count.isdigit() for count in counts):
        return ""
    added, deleted, stayed = (int(count[:6]) for count in counts)
    parts = [f"{wording.plural(added, 'day')} logged"] if added else []
    parts += [f"{wording.plural(deleted, 'day')} deleted"] if deleted else []
    said = f"{wording.joined(parts)}." if parts else "Nothing had changed."
    if stayed:
        said += f" {wording.plural(stayed, 'day')} had been logged elsewhere already."
    return said


def _log_page(
    ctx: AppContext,
    request: Request,
    place: dict[str, str],
    *,
    done: str = "",
    problem: FormProblem | None = None,
    paces: Mapping[str, str] | None = None,
) -> Response:
    wearer_id, wearers, zone = whose(ctx, place["wearer"])
    context: dict[str, Any] = {"wearer_id": wearer_id, "wearers": wearers, "done": done}
    errors = {} if problem is None else problem.errors
    context |= {"grid": None, "problem": "" if paces else errors.get("", "")}
    context["paces"] = FormState(paces, errors) if paces else FormState()
    if wearer_id:
        first = month_of(place["month"], ctx.clock.today(zone))
        tried = problem if isinstance(problem, GridProblem) else GridProblem({})
        context["grid"] = wear_grid(
            **grid_values(ctx, wearer_id, first),
            first=first,
            page=number_of(place["page"]),
            week=place["week"],
            wanted=tried.wanted,
            ask=tried.ask,
            elsewhere=tried.elsewhere,
        )
    return page_answer(request, "rack/log.html", context, 200 if problem is None else 422)


PAGE = PageEntry(router, NavEntry("Log", "/log", first=True), templates=("rack/log.html",))
