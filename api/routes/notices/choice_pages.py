"""Page routes of choice: which page lets a shop change its wording of notices?"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import Refused, SolespanError
from solespan.api.notices.languages import LANGUAGES
from solespan.api.notices.template import check_template
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.edition import EDITION, ChangedMeanwhile, with_edition
from solespan.api.schemas.notices.notices import NoticeTemplate
from solespan.api.services.notices import choices
from solespan.api.services.rack.history import last_change
from solespan.dashboards.meanwhile import changes_told

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
def read_wording_page(ctx: Context, request: Request, language: Words = "en") -> HTMLResponse:
    """Show the wording of a language as a form, and how it reads."""
    language = language if language in LANGUAGES else "en"
    with ctx.database.reading() as session:
        template, _ = choices.read_template(session, language)
    return _wording_page(request, with_edition(template.model_dump()), language, sample=template)


@router.post("/notices/wording")
def change_wording(ctx: Context, request: Request, typed: Wording) -> Response:
    """Keep the wording, or show it again with the line that cannot be used."""
    language = typed["language"] if typed.get("language") in LANGUAGES else "en"
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
        choices.change_template(
            ctx.database, NoticeTemplate(**parts), language=language, seen=typed
        )
    except ChangedMeanwhile as meanwhile:
        with ctx.database.reading() as session:
            last = last_change(session, "shop_settings", {"name": choices.wording_name(language)})
        seen = changes_told(meanwhile.changes, last, {})
        return _wording_page(request, meanwhile.values, language, meanwhile=seen)
    except SolespanError as error:
        again = parts | {EDITION: typed.get(EDITION, "")}
        return _wording_page(request, again, language, problem=_said(error))
    return back_to("/notices", done="wording")


def _wording_page(
    request: Request,
    parts: dict[str, str],
    language: str,
    *,
    problem: str = "",
    meanwhile: dict[str, Any] | None = None,
    sample: NoticeTemplate | None = None,
) -> HTMLResponse:
    context = {
        "parts": parts,
        "wording": language,
        "languages": [(code, one.name) for code, one in LANGUAGES.items()],
        "meanwhile": meanwhile,
        "problem": problem,
        "sample": check_template(sample) if sample is not None else None,
    }
    status = 409 if meanwhile else 422 if problem else 200
    return page_answer(request, "notices/notice_wording.html", context, status)


def _said(error: SolespanError) -> str:
    where = f" ({error.where})" if error.where else ""
    return f"{error.what}{where} {error.remedy}"


PAGE = PageEntry(router, under="/notices", templates=("notices/notice_wording.html",))
