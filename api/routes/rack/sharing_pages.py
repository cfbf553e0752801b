"""Page routes of sharing: how does an owner share a page of shoes, and what does its link open?

The address of a shared page holds its own secret, a stated exception. It changes nothing, ends, and
is not logged: requests are logged by route.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import SolespanError
from solespan.api.routes.http.page_entry import Need, PageEntry
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
from solespan.api.services.accounts.security_log import note_after
from solespan.api.services.accounts.sharing import (
    DAYS_OFFERED,
    end_share,
    open_share,
    share_page,
    shares_seen,
)
from solespan.api.services.context import AppContext
from solespan.api.services.rack.rack_extras_page import whose
from solespan.dashboards.pages.rack.shared import shared_page, shares_page
from solespan.dashboards.render import render

__all__ = ["PAGE"]

PATH = "/shared-pages"
HIDDEN = {"x-robots-tag": "noindex, nofollow, noarchive", "cache-control": "no-store"}
router = APIRouter(route_class=PageRoute)


@router.get(PATH)
def read_shares(
    ctx: Context, request: Request, wearer: Words = "", pair: Words = "", done: Words = ""
) -> Response:
    """List the links that are open, with a form for one more."""
    said = "The link is ended." if done == "ended" else ""
    return _page(ctx, request, wearer, pair=pair, done=said)


def _page(
    ctx: AppContext,
    request: Request,
    wearer: str,
    *,
    pair: str = "",
    link: str = "",
    done: str = "",
    problem: str = "",
    status: int = 200,
) -> Response:
    wearer_id, wearers, _ = whose(ctx, wearer)
    context = {"wearer_id": "", "pairs": [], "shares": []}
    if wearer_id:
        context = shares_page(wearer_id, **shares_seen(ctx, wearer_id))
    said = {"pair": pair, "link": link, "done": done, "problem": problem, "days": DAYS_OFFERED}
    answer = page_answer(request, "rack/shares.html", context | said | {"wearers": wearers}, status)
    if link:
        answer.headers["cache-control"] = "no-store"
    return answer


@router.post(PATH)
def make_share(ctx: Context, request: Request, typed: Typed) -> Response:
    """Make a link and show it this once."""
    refuse_foreign_form(request, typed)
    wearer, pair = typed.get("wearer", ""), typed.get("pair", "")
    try:
        with ctx.database.writing() as session:
            path = share_page(ctx, session, typed)
            note_after(session, "page_shared", days=typed.get("days", ""))
    except SolespanError as error:
        return _page(ctx, request, wearer, pair=pair, problem=told(error), status=error.status)
    return _page(ctx, request, wearer, pair=pair, link=f"{request.base_url}{path[1:]}")


@router.post(PATH + "/{share_id}/ended")
def end(ctx: Context, request: Request, share_id: str, typed: Typed) -> Response:
    """End a link at once."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        end_share(session, share_id)
        note_after(session, "page_share_ended", share=share_id)
    return back_to(PATH, wearer=typed.get("wearer", ""), done="ended")


@router.get("/shared/{secret}")
def read_shared(ctx: Context, secret: Annotated[str, Path(max_length=100)]) -> HTMLResponse:
    """Show the pairs that a link opens, to look at only."""
    try:
        page = shared_page(**open_share(ctx, secret), horizon_days=ctx.settings.horizon_days)
    except SolespanError as error:
        gone = {"rows": [], "problem": told(error), "cautions": [], "shop_name": "solespan"}
        return HTMLResponse(render("rack/shared.html", gone), error.status, HIDDEN)
    return HTMLResponse(render("rack/shared.html", page | {"problem": ""}), 200, HIDDEN)


PAGE = PageEntry(
    router,
    under="/",
    templates=("rack/shares.html",),
    needs=(Need("/shared/[^/]+", "open", "open"),),
)
