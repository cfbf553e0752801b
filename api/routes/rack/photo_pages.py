"""Page routes of photographs: how does a pair get its picture, and where is it read?"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from solespan.api.errors import NotFound, SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.picture_form import PictureForm, chosen_picture
from solespan.api.routes.http.requests import Context
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import current_revision_id
from solespan.api.services.rack.pictures.pair_photos import (
    MOST_OF_PAIR,
    keep_photo,
    photo_content,
    photos_seen,
    remove_photo,
)
from solespan.dashboards.pages.rack.pictures import picture_of

__all__ = ["PAGE"]

PATH = "/pair-photographs"
DONE = {"added": "The photograph is kept.", "removed": "The photograph is taken away."}
router = APIRouter(route_class=PageRoute)


@router.get(PATH)
def read_photographs(
    ctx: Context, request: Request, pair: Words = "", done: Words = ""
) -> Response:
    """Show the photographs of a pair, and a form for one more."""
    return _page(ctx, request, pair, done=DONE.get(done, ""))


def _page(
    ctx: AppContext,
    request: Request,
    pair_id: str,
    *,
    done: str = "",
    problem: str = "",
    status: int = 200,
) -> Response:
    with ctx.database.reading() as session:
        record, photos = photos_seen(session, pair_id)
    context = {
        "pair_id": pair_id,
        "label": record["label"] or pair_id,
        "picture": picture_of(record),
        "photos": photos,
        "most": MOST_OF_PAIR,
        "problem": problem,
        "done": done,
    }
    return page_answer(request, "rack/photos.html", context, status)


@router.post(PATH)
def add_photograph(ctx: Context, request: Request, given: PictureForm) -> Response:
    """Keep a photograph of a pair."""
    typed, content = given
    pair_id = typed.get("pair", "")
    try:
        with ctx.database.writing() as session:
            keep_photo(session, pair_id, chosen_picture(content))
    except NotFound:
        raise
    except SolespanError as error:
        return _page(ctx, request, pair_id, problem=told(error), status=error.status)
    return back_to(PATH, pair=pair_id, done="added")


@router.get(PATH + "/{photo_id}")
def read_photograph(ctx: Context, photo_id: str, small: Words = "") -> Response:
    """Send a photograph; its name says its content, so a browser may keep it."""
    with ctx.database.reading() as session:
        found = photo_content(session, photo_id, small=bool(small))
    if found is None:
        raise NotFound("There is no such photograph.", where="the address")
    headers = {"cache-control": "private, max-age=31536000, immutable"}
    return Response(found[1], media_type=found[0], headers=headers)


@router.post(PATH + "/{photo_id}/taken-away")
def take_photograph_away(ctx: Context, request: Request, photo_id: str, typed: Typed) -> Response:
    """Take a photograph away; it can be taken back for 30 days."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        pair_id = remove_photo(session, photo_id)
        undo = current_revision_id()
    return back_to(PATH, pair=pair_id, done="removed", undo=undo)


PAGE = PageEntry(router, under="/", templates=("rack/photos.html",), uploads=(PATH,))
