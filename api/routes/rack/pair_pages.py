"""Page routes of pair.

What does a browser get for one pair, and what happens to the wears and checks it posts?
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    ForeignForm,
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    read_cookie,
    refuse_foreign_form,
    set_cookie,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.schemas.forms import FormProblem, with_answer
from solespan.api.services.context import AppContext
from solespan.api.services.rack.log_forms import (
    log_records,
    read_reading,
    read_thumb,
    read_wear,
)
from solespan.api.services.rack.pair_page import pair_name, pair_values, upkeep_values
from solespan.dashboards.pages.planning.upkeep import upkeep_page
from solespan.dashboards.pages.rack.pair import (
    FORM_NAMES,
    GAUGES,
    UNITS,
    FormState,
    form_choices,
    pair_page,
)
from solespan.dashboards.pages.rack.thumb import thumb_page

__all__ = ["PAGE", "form_state", "ours", "pair_address"]

GAUGE = "gauge"  # the cookie that remembers which gauge and unit were used last
GAUGE_KEPT_S = 400 * 24 * 3600
DONE = {
    "wear": "The wear day is logged.",
    "check": "The check is logged.",
    "same": "That was logged already; nothing changed.",
    "already": "This day was logged already; nothing changed.",
    "changed": "The wear is changed.",
    "undone": "The wear is taken back.",
    "added": "The pair is added. Until it is checked, its date is based on how other soles wear.",
    "edited": "The changes are kept.",
    "sent": "The pair is away now; its forecast goes on when it is back.",
    "back": "The pair is back.",
    "soled": "The new sole is on; the one before has ended.",
    "in_use": "Noted: the pair is still in use.",
    "ended": "The sole has ended, so the pair is retired until a new one is fitted.",
}

router = APIRouter(route_class=PageRoute)


def pair_address(pair_id: str, *more: str) -> str:
    """Return the address of a pair's page, or of one below it."""
    return "/".join(("/pairs", quote(pair_id, safe=""), *more))


@router.get("/pairs/{pair_id:path}/thumb")
def read_thumb_check(ctx: Context, request: Request, pair_id: str) -> Response:
    """Guide a thumb check, one point at a time: the answers so far stand in the address."""
    return _thumb_page(ctx, request, pair_id, dict(request.query_params), {})


@router.post("/pairs/{pair_id:path}/thumb")
def log_thumb_check(
    ctx: Context, request: Request, pair_id: str, typed: Typed, key: IdempotencyKey
) -> Response:
    """Log what the thumb felt, or show it again with what is wrong."""
    try:
        ours(request, typed)
        every = read_thumb(pair_id, typed)
        done = _log(ctx, key, f"POST {pair_address(pair_id, 'thumb')}", typed, "checks", every)
    except FormProblem as problem:
        return _thumb_page(
            ctx,
            request,
            pair_id,
            typed | {"end": "1"},
            problem.errors,
            replaceable=problem.replaceable,
        )
    return back_to(pair_address(pair_id), done="check" if done["new"] else "same")


def _thumb_page(
    ctx: AppContext,
    request: Request,
    pair_id: str,
    answers: dict[str, str],
    errors: dict[str, str],
    *,
    replaceable: bool = False,
) -> HTMLResponse:
    known = pair_name(ctx, pair_id)
    context = thumb_page(answers, errors=errors, replaceable=replaceable)
    return page_answer(request, "rack/thumb.html", context | known, 422 if errors else 200)


@router.post("/pairs/{pair_id:path}/wear-days")
def log_wear_day(
    ctx: Context, request: Request, pair_id: str, typed: Typed, key: IdempotencyKey
) -> Response:
    """Log the day typed into the form, or show the form again with what is wrong."""

    def read() -> list[dict[str, Any]]:
        return [read_wear(pair_id, typed)]

    return _logged(ctx, request, pair_id, typed, key, form="wear", read=read)


@router.post("/pairs/{pair_id:path}/checks")
def log_reading(
    ctx: Context, request: Request, pair_id: str, typed: Typed, key: IdempotencyKey
) -> Response:
    """Log the readings typed into the form, or show the form again with what is wrong or odd."""
    typed = with_answer(typed)
    answer = _logged(
        ctx,
        request,
        pair_id,
        typed,
        key,
        form="reading",
        read=lambda: read_reading(pair_id, typed),
    )
    method, unit = typed.get("method", ""), typed.get("unit", "")
    if answer.status_code == 303 and method in GAUGES and unit in UNITS:
        set_cookie(request, answer, GAUGE, f"{method}.{unit}", max_age_s=GAUGE_KEPT_S)
    return answer


def _logged(
    ctx: AppContext,
    request: Request,
    pair_id: str,
    typed: dict[str, str],
    key: str | None,
    *,
    form: str,
    read: Callable[[], list[dict[str, Any]]],
) -> Response:
    table, path = ("wear_days", "wear-days") if form == "wear" else ("checks", "checks")
    try:
        ours(request, typed)
        done = _log(ctx, key, f"POST {pair_address(pair_id, path)}", typed, table, read())
    except FormProblem as problem:
        state = form_state(typed, problem)
        return _pair_page(ctx, request, pair_id, forms={form: state})
    return back_to(
        pair_address(pair_id),
        done="same" if not done["new"] else "wear" if form == "wear" else "check",
        **{name: done[name] for name in ("was", "now") if name in done},
    )


def form_state(typed: dict[str, str], problem: FormProblem) -> FormState:
    """Return what was typed with what is wrong with it, or asked about it."""
    return FormState(
        typed,
        problem.errors,
        replaceable=problem.replaceable,
        question=problem.question,
        irons=problem.irons,
    )


def ours(request: Request, typed: dict[str, str]) -> None:
    """Refuse a foreign form so that what was typed stays on the page."""
    try:
        refuse_foreign_form(request, typed)
    except ForeignForm as foreign:
        raise FormProblem({"": foreign.what}) from foreign


def _log(
    ctx: AppContext,
    key: str | None,
    route: str,
    typed: dict[str, str],
    table: str,
    every: list[dict[str, Any]],
) -> dict[str, Any]:
    done = do_once(
        ctx,
        key,
        route,
        typed,
        lambda session: log_records(
            ctx, session, table, every, replacing=typed.get("replace") == "true", typed=typed
        ),
    )
    if done["needs_fit"]:
        ctx.refitter.wake()
    return done


@router.get("/pairs/{pair_id:path}/upkeep")
def read_upkeep(ctx: Context, request: Request, pair_id: str) -> Response:
    """Show the care that is due, the ways to a new sole, and what the pair costs."""
    context = pair_name(ctx, pair_id) | upkeep_page(**upkeep_values(ctx, pair_id))
    return page_answer(request, "planning/upkeep.html", context)


@router.get("/pairs/{pair_id:path}")
def read_pair(
    ctx: Context,
    request: Request,
    pair_id: str,
    done: Words = "",
    logged: Words = "",
    on: Words = "",
) -> Response:
    """Show one pair: when, how sure, what was logged, and the forms to log more."""
    del logged
    return _pair_page(ctx, request, pair_id, done=DONE.get(done, ""), logged_on=on)


def _pair_page(
    ctx: AppContext,
    request: Request,
    pair_id: str,
    *,
    done: str = "",
    logged_on: str = "",
    forms: dict[str, FormState] | None = None,
) -> HTMLResponse:
    method, _, unit = read_cookie(request, GAUGE).partition(".")
    states = {name: FormState() for name in FORM_NAMES} | (forms or {})
    values = pair_values(ctx, pair_id, logged_on)
    context = pair_page(**values) | form_choices(method, unit) | states
    return page_answer(request, "rack/pair.html", context | {"done": done}, 422 if forms else 200)


PAGE = PageEntry(router)
