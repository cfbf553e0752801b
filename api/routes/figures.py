"""Figures and static files: what do a page's scripts and styles load?"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response
from starlette.exceptions import HTTPException

from solespan.api.errors import NotFound
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import Words, number_of
from solespan.api.routes.http.requests import Context
from solespan.api.services.rack.pair_page import figure_frames
from solespan.api.services.rack.rack_page import RackAsked, rack_frames
from solespan.dashboards.assets import asset_by_url_name
from solespan.dashboards.figures import FIGURES
from solespan.dashboards.pages.rack.rack import MOST_DRAWN, PAIRS_A_PAGE, search_for
from solespan.dashboards.render import figure_json

__all__ = ["PAGE"]

FOR_EVER = "public, max-age=31536000, immutable"
router = APIRouter()


@router.get("/figures/{name}.json")
def read_rack_figure(
    ctx: Context,
    name: str,
    wearer: Words = "",
    band: Words = "",
    q: Words = "",
    page: Words = "",
) -> Response:
    """Draw a figure of the rack page, as JSON that the page's script draws."""
    _of_page(name, "rack")
    asked = RackAsked(PAIRS_A_PAGE, number_of(page), wearer, band, search_for(q))
    frames, today = rack_frames(ctx, asked, MOST_DRAWN)
    return _figure(name, frames, today)


@router.get("/figures/{name}/{pair_id:path}.json")
def read_pair_figure(ctx: Context, name: str, pair_id: str) -> Response:
    """Draw a figure of the pair page, as JSON that the page's script draws."""
    _of_page(name, "pair")
    frames, today = figure_frames(ctx, pair_id, FIGURES[name].needs)
    return _figure(name, frames, today)


def _of_page(name: str, page: str) -> None:
    if name not in FIGURES or FIGURES[name].page != page:
        known = ", ".join(other for other, entry in FIGURES.items() if entry.page == page)
        raise NotFound(
            f"There is no figure {name!r} of the {page} page.",
            where="the address",
            accepted=known,
            remedy="Use one of these names.",
        )


def _figure(name: str, frames: dict[str, Any], today: Any) -> Response:
    entry = FIGURES[name]
    drawn = entry.draw(*(frames[need] for need in entry.needs), today=today)
    return Response(figure_json(drawn), media_type="application/json")


@router.get("/assets/{url_name}")
def read_asset(request: Request, url_name: str) -> Response:
    """Send a static file, which a browser may keep for ever: its name says its content."""
    asset = asset_by_url_name(url_name)
    if asset is None:
        raise HTTPException(404, "no file has that name")
    headers = {"cache-control": FOR_EVER, "vary": "accept-encoding"}
    content = asset.content
    if "gzip" in request.headers.get("accept-encoding", ""):
        content = asset.gzipped
        headers["content-encoding"] = "gzip"
    return Response(content, media_type=asset.media_type, headers=headers)


PAGE = PageEntry(router, needs=(Need("/assets/.*", "open", "open"),))
