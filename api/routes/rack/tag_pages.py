"""Page routes of tags: which page opens from a tag on a shelf or in a shoe, and how is it printed?

The address of a tag stays the same for ever and holds no secret: only a browser that may log opens
it. Opening it logs nothing. One button does.
"""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import PageRoute, Words, page_answer
from solespan.api.routes.http.requests import Context
from solespan.api.routes.http.square_code import square_code
from solespan.api.services.context import AppContext
from solespan.api.services.rack.pair_names import choose_pairs, label_of
from solespan.dashboards.render import render

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)


@router.get("/worn")
def read_shelf(ctx: Context, request: Request, wearer: Words = "") -> Response:
    """Show one button for each pair of a shelf."""
    with ctx.database.reading() as session:
        known = choose_pairs(session, wearer)
    context = {"heading": "Worn today?", "pairs": known.pairs, "wearer": known.wearer}
    return page_answer(request, "rack/tag.html", context)


@router.get("/worn/{pair_id:path}")
def read_tag(ctx: Context, request: Request, pair_id: str) -> Response:
    """Show one button for the pair of a tag."""
    with ctx.database.reading() as session:
        name = label_of(session, pair_id)
    context = {"heading": name, "pairs": [(pair_id, name)], "wearer": ""}
    return page_answer(request, "rack/tag.html", context)


@router.get("/tags")
def read_tags(ctx: Context, request: Request, wearer: Words = "") -> HTMLResponse:
    """Show a sheet of tags to print: one for the shelf, and one for each pair."""
    with ctx.database.reading() as session:
        known = choose_pairs(session, wearer)
    base = _base(ctx, request)
    shelf = f"{base}/worn?wearer={quote(known.wearer, safe='')}"
    tags = [("The whole shelf", shelf)] if known.pairs else []
    tags += [(name, f"{base}/worn/{quote(pair, safe='')}") for pair, name in known.pairs]
    drawn = [(name, link, square_code(link)) for name, link in tags]
    reached = request.app.state.home is not None or ctx.settings.public_address
    shown = {"tags": drawn, "only_here": not reached}
    return HTMLResponse(render("rack/tags.html", shown, ()))


def _base(ctx: AppContext, request: Request) -> str:
    home = request.app.state.home
    address = home.address if home is not None else ctx.settings.public_address
    return address or str(request.base_url).rstrip("/")


PAGE = PageEntry(router, under="/", templates=("rack/tag.html",))
