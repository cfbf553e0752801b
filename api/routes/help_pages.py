"""Help routes: the user's guide under `/help`, and a readable page of the HTTP API at `/docs`.

Both are written by the service itself, so the strict Content-Security-Policy holds for them too.
"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import NotFound
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import PageRoute, entries_for
from solespan.dashboards.chapters import CHAPTERS, READERS
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.api_reference import api_page
from solespan.dashboards.render import render

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)


@router.get("/help")
def read_help(request: Request) -> Response:
    """List the chapters by reader."""
    groups = [
        (heading, [chapter for chapter in CHAPTERS if chapter.reader == reader])
        for reader, heading in READERS.items()
    ]
    return HTMLResponse(
        render("help/index.html", {"groups": groups}, entries_for(request, "help/index.html"))
    )


@router.get("/help/{name:path}")
def read_chapter(request: Request, name: str) -> Response:
    """Show one chapter."""
    found = next((chapter for chapter in CHAPTERS if chapter.name == name), None)
    if found is None:
        raise NotFound(
            "There is no help chapter of that name.",
            where="the address",
            accepted=", ".join(chapter.name for chapter in CHAPTERS),
            remedy="Choose a chapter from /help.",
        )
    return HTMLResponse(
        render("help/chapter.html", {"chapter": found}, entries_for(request, "help/chapter.html"))
    )


@router.get("/docs")
def read_api(request: Request) -> Response:
    """Show the HTTP API as a page."""
    return HTMLResponse(
        render(
            "help/api.html", api_page(request.app.openapi()), entries_for(request, "help/api.html")
        )
    )


PAGE = PageEntry(
    router,
    NavEntry("Help", "/help", "help"),
    templates=("help/index.html", "help/chapter.html", "help/api.html"),
    needs=(Need("/help(/.*)?", "open", "open"),),  # the same words for everybody
)
