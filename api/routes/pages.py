"""Page routes: which pages does a browser get, and what happens to the forms it posts?

Pages are read with GET and changed with plain form posts that end in a redirect, so that going back
or reloading repeats nothing. Failures are pages too.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from starlette.exceptions import HTTPException

from solespan.api.errors import NotFound
from solespan.api.routes import phone
from solespan.api.routes.http import Context
from solespan.api.routes.importing import import_pages
from solespan.api.routes.page_http import TOKEN, PageRoute, Typed, Words, page_answer
from solespan.api.routes.rack import add_pages, pair_pages, rack_pages, sole_pages, wear_pages
from solespan.api.services.rack.pair_page import figure_frames
from solespan.api.services.rack.rack_page import rack_context, rack_frames
from solespan.dashboards.assets import asset_by_url_name
from solespan.dashboards.figures import FIGURES
from solespan.dashboards.render import figure_json

__all__ = ["TOKEN", "PageRoute", "Typed", "Words", "router"]

FOR_EVER = "public, max-age=31536000, immutable"
DONE = {
    "wear": "The wear is logged.",
    "already": "This day was logged already; nothing changed.",
    "changed": "The wear is changed.",
    "undone": "The wear is taken back.",
    "removed": "The pair and its log are deleted.",
    "example": "The example rack is on your rack now. Forecasts follow in a moment.",
    "no-example": "The example rack is removed; your own pairs are as they were.",
}

router = APIRouter()
pages = APIRouter(route_class=PageRoute)
# The pair's own page takes every address under /pairs that is left, so it comes last.
for more in (
    phone,
    wear_pages,
    rack_pages,
    add_pages,
    import_pages,
    sole_pages,
    pair_pages,
):
    router.include_router(more.router)


@pages.get("/")
def read_rack(
    ctx: Context,
    request: Request,
    wearer: Words = "",
    band: Words = "",
    q: Words = "",
    logged: Words = "",
    on: Words = "",
    done: Words = "",
) -> Response:
    """Show what to wear today, and all pairs, the one to send first at the top."""
    context = rack_context(ctx, wearer, band, q, (logged, on))
    chosen = {"wearer": wearer, "band": band, "q": q}
    kept = urlencode({name: value for name, value in chosen.items() if value})
    query = f"?{kept}" if kept else ""
    return page_answer(
        request, "rack/rack.html", context | {"query": query, "done": DONE.get(done, "")}
    )


@router.get("/figures/{name}.json")
def read_rack_figure(
    ctx: Context, name: str, wearer: Words = "", band: Words = "", q: Words = ""
) -> Response:
    """Draw a figure of the rack page, as JSON that the page's script draws."""
    _of_page(name, "rack")
    frames, today = rack_frames(ctx, wearer, band, q)
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


router.include_router(pages)
