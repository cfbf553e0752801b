"""How is a pair added, changed and deleted with a browser's forms?"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from api.routes.http import IdempotencyKey, Serving
from api.routes.page_http import PageRoute, Typed, back_to, do_once, page_answer
from api.routes.pair_pages import ours, pair_address
from api.services.page_forms import FormProblem
from api.services.pair_forms import NEW_WEARER, add_pair, delete_pair, edit_pair, values_of_pair
from api.services.pair_page import pair_name
from api.storage.records import list_records
from api.wiring import Services
from dashboards.pages.add import pair_choices
from dashboards.pages.pair import FormState

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)
MOST_WEARERS = 500


@router.get("/add")
def read_add(serving: Serving, request: Request) -> Response:
    """Show the form that adds a pair."""
    return _add_page(serving, request, FormState())


@router.post("/add")
def post_add(serving: Serving, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Add the pair, or show the form again with what is wrong."""
    try:
        ours(request, typed)
        added = do_once(
            serving, key, "POST /add", typed, lambda session: add_pair(serving, session, typed)
        )
    except FormProblem as problem:
        return _add_page(serving, request, FormState(typed, problem.errors))
    if added["needs_fit"]:
        serving.upkeep.wake()
    return back_to(pair_address(added["pair_id"]), done="added")


def _add_page(serving: Services, request: Request, form: FormState) -> Response:
    with serving.database.reading() as session:
        every = list_records(session, "wearers", equal={}, limit=MOST_WEARERS)
    wearers = [(row["wearer_id"], row["name"] or row["wearer_id"]) for row in every]
    context = pair_choices() | {
        "form": form,
        "wearers": [*wearers, (NEW_WEARER, "somebody new")],
        "first_wearer": wearers[0][0] if wearers else NEW_WEARER,
        "zone": every[0]["time_zone"] if every else "UTC",
        "today_iso": serving.clock.today("UTC").isoformat(),
    }
    return page_answer(request, "add.html", context, 422 if form.errors else 200)


@router.get("/pairs/{pair_id:path}/edit")
def read_edit(serving: Serving, request: Request, pair_id: str) -> Response:
    """Show the form that changes a pair."""
    return _edit_page(serving, request, pair_id, {})


@router.post("/pairs/{pair_id:path}/edit")
def post_edit(
    serving: Serving, request: Request, pair_id: str, typed: Typed, key: IdempotencyKey
) -> Response:
    """Change the pair, or show the form again with what is wrong."""

    def work(session: Any) -> dict[str, Any]:
        edit_pair(serving, session, pair_id, typed)
        return {}

    try:
        ours(request, typed)
        do_once(serving, key, f"POST {pair_address(pair_id, 'edit')}", typed, work)
    except FormProblem as problem:
        return _edit_page(serving, request, pair_id, problem.errors, typed)
    return back_to(pair_address(pair_id), done="edited")


@router.post("/pairs/{pair_id:path}/delete")
def post_delete(
    serving: Serving, request: Request, pair_id: str, typed: Typed, key: IdempotencyKey
) -> Response:
    """Delete the pair and its log, if the box was ticked."""

    def work(session: Any) -> dict[str, Any]:
        delete_pair(serving, session, pair_id, typed)
        return {}

    try:
        ours(request, typed)
        do_once(serving, key, f"POST {pair_address(pair_id, 'delete')}", typed, work)
    except FormProblem as problem:
        return _edit_page(serving, request, pair_id, problem.errors)
    return back_to("/", done="removed")


def _edit_page(
    serving: Services,
    request: Request,
    pair_id: str,
    errors: dict[str, str],
    typed: dict[str, str] | None = None,
) -> Response:
    with serving.database.reading() as session:
        stored = values_of_pair(session, pair_id)
    form = FormState(stored | (typed or {}), errors)
    context = pair_choices() | pair_name(serving, pair_id) | {"form": form}
    return page_answer(request, "edit.html", context, 422 if errors else 200)
