"""Page routes of wear.

What happens when a wear is logged with one tap on the rack, changed, or taken back?
"""

from __future__ import annotations

from urllib.parse import urlsplit

from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    ACCOUNT,
    PageRoute,
    Typed,
    back_to,
    do_once,
    refuse_foreign_form,
    refuse_other_account,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.services.rack.wear_today import change_wear, log_tap, undo_wear
from solespan.dashboards.navigation import RACK

__all__ = ["PAGE", "page_of_ours"]

router = APIRouter(route_class=PageRoute)


@router.post("/wear")
def log_wear_today(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Log a wear today of the pair whose button was pressed."""
    refuse_foreign_form(request, typed)
    refuse_other_account(request, typed)
    # A wear kept without a network gets its day from the device; it is the same attempt still.
    attempt = {name: value for name, value in typed.items() if name not in ("worn_on", ACCOUNT)}
    done = do_once(ctx, key, "POST /wear", attempt, lambda session: log_tap(ctx, session, typed))
    if done["needs_fit"]:
        ctx.refitter.wake()
    moved = {name: done[name] for name in ("was", "now") if name in done}
    return back_to(
        page_of_ours(typed), done=done["done"], logged=done["pair"], on=done["worn_on"], **moved
    )


@router.post("/wear/change")
def change_wear_today(
    ctx: Context, request: Request, typed: Typed, key: IdempotencyKey
) -> Response:
    """Change whether it was wet, or the hours."""
    refuse_foreign_form(request, typed)
    done = do_once(
        ctx,
        key,
        "POST /wear/change",
        typed,
        lambda session: change_wear(ctx, session, typed),
    )
    return back_to(page_of_ours(typed), done=done["done"], logged=done["pair"], on=done["worn_on"])


@router.post("/wear/undo")
def undo_wear_today(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Take the wear back."""
    refuse_foreign_form(request, typed)
    done = do_once(
        ctx, key, "POST /wear/undo", typed, lambda session: undo_wear(ctx, session, typed)
    )
    return back_to(page_of_ours(typed), done=done["done"])


def page_of_ours(typed: Typed) -> str:
    """Return the page of ours the form stood on: the rack, narrowed or not, or a pair."""
    parts = urlsplit(typed.get("from", ""))
    ours = parts.path in ("/", RACK) or parts.path.startswith("/pairs/")
    if parts.scheme or parts.netloc or not ours:
        return "/"
    return f"{parts.path}?{parts.query}" if parts.query else parts.path


PAGE = PageEntry(router)
