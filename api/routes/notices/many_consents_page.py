"""Page routes of many consents: how are they written down at once?"""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request, Response

from solespan.api.errors import SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    back_to,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context
from solespan.api.routes.notices.channel_words import channel_words
from solespan.api.schemas.notices.many_consents import BASES
from solespan.api.services.context import AppContext
from solespan.api.services.notices.many_consents import count_reached, give_many

__all__ = ["PAGE"]

ADDRESS = "/notices/customers/many"
router = APIRouter(route_class=PageRoute)


@router.get(ADDRESS)
def read_many_consents(ctx: Context, request: Request) -> Response:
    """Show how many customers each way reaches, and the form."""
    return _page(ctx, request, {})


@router.post(ADDRESS)
def write_many_consents(ctx: Context, request: Request, typed: Typed) -> Response:
    """Write down a consent of many, if they are as many as was shown."""
    try:
        refuse_foreign_form(request, typed)
        give_many(ctx, typed)
    except SolespanError as error:
        return _page(ctx, request, typed, f"{error.what} {error.remedy}")
    return back_to("/notices/customers", done="consent")


def _page(
    ctx: AppContext, request: Request, typed: Mapping[str, str], problem: str = ""
) -> Response:
    with ctx.database.reading() as session:
        reached = count_reached(session)
    words = channel_words()
    context = {
        "many": [
            {"channel": name, "word": words[name].word, "count": count}
            for name, count in reached.items()
            if count
        ],
        "bases": list(BASES),
        "form": dict(typed),
        "problem": problem,
    }
    return page_answer(request, "notices/notice_many.html", context, 422 if problem else 200)


PAGE = PageEntry(router, under="/notices", templates=("notices/notice_many.html",))
