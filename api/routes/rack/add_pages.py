"""Page routes of add: how is a pair added, changed and deleted with a browser's forms?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import PageRoute, Typed, back_to, do_once, page_answer
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.routes.rack.pair_pages import form_state, ours, pair_address
from solespan.api.schemas.forms import FormProblem, with_answer
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import last_change
from solespan.api.services.rack.pair_forms import (
    NEW_WEARER,
    add_pair,
    edit_pair,
    values_of_pair,
)
from solespan.api.services.rack.pair_page import pair_name
from solespan.api.services.rack.record_forms import Overtaken, delete_record
from solespan.api.services.rack.records import list_records
from solespan.api.services.shop_choices import shop_time_zone
from solespan.dashboards.meanwhile import changes_told
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.rack.add import pair_choices
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
MOST_WEARERS = 500


@router.get("/add")
def read_add(ctx: Context, request: Request) -> Response:
    """Show the form that adds a pair."""
    return _add_page(ctx, request, FormState())


@router.post("/add")
def post_add(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Add the pair, or show the form again with what is wrong."""
    typed = with_answer(typed)
    try:
        ours(request, typed)
        added = do_once(ctx, key, "POST /add", typed, lambda session: add_pair(ctx, session, typed))
    except FormProblem as problem:
        return _add_page(ctx, request, form_state(typed, problem))
    if added["needs_fit"]:
        ctx.refitter.wake()
    return back_to(pair_address(added["pair_id"]), done="added")


def _add_page(ctx: AppContext, request: Request, form: FormState) -> Response:
    with ctx.database.reading() as session:
        every = list_records(session, "wearers", equal={}, limit=MOST_WEARERS)
        zone = shop_time_zone(session)
    wearers = [(row["wearer_id"], row["name"] or row["wearer_id"]) for row in every]
    context = pair_choices() | {
        "form": form,
        "wearers": [*wearers, (NEW_WEARER, "a new wearer")],
        "first_wearer": wearers[0][0] if wearers else NEW_WEARER,
        "zone": every[0]["time_zone"] if every else zone,
        "today_iso": ctx.clock.today("UTC").isoformat(),
    }
    return page_answer(request, "rack/add.html", context, 422 if form.errors else 200)


@router.get("/pairs/{pair_id:path}/edit")
def read_edit(ctx: Context, request: Request, pair_id: str) -> Response:
    """Show the form that changes a pair."""
    return _edit_page(ctx, request, pair_id, FormState())


@router.post("/pairs/{pair_id:path}/edit")
def post_edit(
    ctx: Context, request: Request, pair_id: str, typed: Typed, key: IdempotencyKey
) -> Response:
    """Change the pair, or show the form again with what is wrong or odd."""
    typed = with_answer(typed)

    def work(session: Any) -> dict[str, Any]:
        return edit_pair(ctx, session, pair_id, typed)

    try:
        ours(request, typed)
        done = do_once(ctx, key, f"POST {pair_address(pair_id, 'edit')}", typed, work)
    except Overtaken as overtaken:
        form = form_state(_anew(overtaken.values or typed), overtaken)
        return _edit_page(ctx, request, pair_id, form, changes=overtaken.changes, status=409)
    except FormProblem as problem:
        return _edit_page(ctx, request, pair_id, form_state(typed, problem), status=422)
    return back_to(pair_address(pair_id), done="edited", undo=done["undo"])


def _anew(typed: dict[str, str]) -> dict[str, str]:
    """Leave out the versions that a form was opened with, so that it takes those of now."""
    return {name: text for name, text in typed.items() if name not in ("version", "sole_version")}


@router.post("/pairs/{pair_id:path}/delete")
def post_delete(
    ctx: Context, request: Request, pair_id: str, typed: Typed, key: IdempotencyKey
) -> Response:
    """Delete the pair and its log, if the box was ticked."""

    def work(session: Any) -> dict[str, Any]:
        return delete_record(ctx, session, "pairs", {"pair_id": pair_id}, typed)

    try:
        ours(request, typed)
        done = do_once(ctx, key, f"POST {pair_address(pair_id, 'delete')}", typed, work)
    except FormProblem as problem:
        state = FormState({}, problem.errors)
        return _edit_page(ctx, request, pair_id, state, status=422)
    return back_to("/", done="removed", undo=done["undo"])


def _edit_page(
    ctx: AppContext,
    request: Request,
    pair_id: str,
    form: FormState,
    *,
    changes: Sequence[Any] = (),
    status: int = 200,
) -> Response:
    with ctx.database.reading() as session:
        stored = values_of_pair(session, pair_id)
        last = last_change(session, "pairs", {"pair_id": pair_id}) if changes else None
    form = replace(form, values=stored | dict(form.values))
    context = pair_choices() | pair_name(ctx, pair_id) | {"form": form}
    context["meanwhile"] = changes_told(changes, last, {}) if changes else None
    return page_answer(request, "rack/edit.html", context, status)


PAGE = PageEntry(router, NavEntry("Add", "/add", rare=True), templates=("rack/add.html",))
