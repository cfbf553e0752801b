"""Page routes of choice: which page lets a shop change its wording of notices?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import Refused, SolespanError
from solespan.api.notices.template import check_template
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    back_to,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.notices.notices import NoticeTemplate
from solespan.api.services.notices import choices

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
PARTS = ("subject", "text", "html")
MOST_CHARACTERS = 20_000


async def _wording(request: Request) -> dict[str, str]:
    """Read the wording's form: its parts are longer than other fields may be."""
    form = await request.form(max_files=0, max_fields=10)
    return {k: v for k, v in form.items() if isinstance(v, str)}


Wording = Annotated[dict[str, str], Depends(_wording)]


@router.get("/notices/wording")
def read_wording_page(ctx: Context, request: Request) -> HTMLResponse:
    """Show the wording as a form, and how it reads."""
    with ctx.database.reading() as session:
        template, version = choices.read_template(session)
    return _wording_page(request, template.model_dump(), version, sample=template)


@router.post("/notices/wording")
def change_wording(ctx: Context, request: Request, typed: Wording) -> Response:
    """Keep the wording, or show it again with the line that cannot be used."""
    version = _version(typed)
    # browsers send line ends as CR LF
    parts = {part: typed.get(part, "").replace("\r\n", "\n") for part in PARTS}
    try:
        refuse_foreign_form(request, typed)
        if any(len(part) > MOST_CHARACTERS for part in parts.values()):
            raise Refused(
                "The wording is too long.",
                where="the wording",
                accepted=f"up to {MOST_CHARACTERS} characters each",
                remedy="Shorten it.",
            )
        choices.change_template(ctx.database, NoticeTemplate(**parts), frozenset({version}))
    except SolespanError as error:
        return _wording_page(request, parts, version, problem=_said(error))
    return back_to("/notices", done="wording")


def _wording_page(
    request: Request,
    parts: dict[str, str],
    version: int,
    *,
    problem: str = "",
    sample: NoticeTemplate | None = None,
) -> HTMLResponse:
    context = {
        "parts": parts,
        "version": version,
        "problem": problem,
        "sample": check_template(sample) if sample is not None else None,
    }
    return page_answer(request, "notices/notice_wording.html", context, 422 if problem else 200)


def _said(error: SolespanError) -> str:
    where = f" ({error.where})" if error.where else ""
    return f"{error.what}{where} {error.remedy}"


def _version(typed: dict[str, str]) -> int:
    text = typed.get("version", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else -1


PAGE = PageEntry(router, under="/notices", templates=("notices/notice_wording.html",))
