"""Page routes of changes: what was changed in the last 30 days, and how is it undone?"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from fastapi import APIRouter, Request, Response

from solespan.api.errors import Conflict, NotFound
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import HISTORY_DAYS, list_changes, undo
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.rack.record import changes_page

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
PER_PAGE = 50


@router.get("/history")
def read_changes(
    ctx: Context, request: Request, before: Words = "", deleted: Words = ""
) -> Response:
    """List what was changed lately, newest first; or only what was deleted."""
    return _page(ctx, request, before, deleted=deleted == "1")


@router.post("/history/{revision_id}/undo")
def post_undo(
    ctx: Context, request: Request, revision_id: str, typed: Typed, key: IdempotencyKey
) -> Response:
    """Undo one change, or say what stands on it."""
    refuse_foreign_form(request, typed)

    def work(session: Any) -> dict[str, Any]:
        return undo(ctx, session, revision_id)

    try:
        done = do_once(ctx, key, f"POST /history/{revision_id[:64]}/undo", typed, work)
    except (Conflict, NotFound) as error:
        return _page(ctx, request, "", deleted=False, problem=told(error), status=error.status)
    if done["needs_fit"]:
        ctx.refitter.wake()
    return back_to(_from(typed), said="undone")


def _from(typed: Typed) -> str:
    """Return the page of ours that the button stood on."""
    parts = urlsplit(typed.get("from", ""))
    ours = not parts.scheme and not parts.netloc and parts.path.startswith("/")
    return parts.path if ours and not parts.path.startswith("//") else "/history"


def _page(
    ctx: AppContext,
    request: Request,
    before: str,
    *,
    deleted: bool,
    problem: str = "",
    status: int = 200,
) -> Response:
    below_id = int(before) if before.isascii() and before.isdigit() and len(before) < 19 else None
    with ctx.database.reading() as session:
        found = list_changes(
            session, below_id=below_id, limit=PER_PAGE + 1, only="deletions" if deleted else ""
        )
    shown = changes_page(found[:PER_PAGE])
    context = {
        "changes": shown,
        "older": shown[-1]["id"] if len(found) > PER_PAGE else None,
        "deleted": deleted,
        "days": HISTORY_DAYS,
        "problem": problem,
    }
    return page_answer(request, "rack/changes.html", context, status)


PAGE = PageEntry(
    router,
    NavEntry("Changes", "/history", rare=True),
    templates=("rack/changes.html", "rack/record.html", "rack/records.html"),
)
