"""Page routes of choice: which pages let a shop change its rules and wording of notices?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import Refused, SolespanError, StaleVersion
from solespan.api.notices.languages import LANGUAGES
from solespan.api.notices.template import check_template
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context
from solespan.api.routes.notices.channel_words import channel_words
from solespan.api.schemas.forms import FormProblem
from solespan.api.schemas.notices.notices import NoticeTemplate
from solespan.api.services.context import AppContext
from solespan.api.services.notices import choices
from solespan.api.services.notices.delivery_config import webhook_key
from solespan.api.services.notices.rules_form import read_rules_form
from solespan.dashboards.pages.notices.notices import rules_values
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
PARTS = ("subject", "text", "html")
MOST_CHARACTERS = 20_000


async def _wording(request: Request) -> dict[str, str]:
    """Read the wording's form: its parts are longer than other fields may be."""
    form = await request.form(max_files=0, max_fields=10)
    return {k: v for k, v in form.items() if isinstance(v, str)}


Wording = Annotated[dict[str, str], Depends(_wording)]


@router.get("/notices/rules")
def read_rules_page(ctx: Context, request: Request) -> HTMLResponse:
    """Show the rules as a form."""
    with ctx.database.reading() as session:
        rules, version = choices.read_rules(session)
    return _rules_page(ctx, request, FormState(rules_values(rules.model_dump())), version)


@router.post("/notices/rules")
def change_rules(ctx: Context, request: Request, typed: Typed) -> Response:
    """Keep the rules typed in, or show them again with what is wrong."""
    version = _version(typed)
    try:
        refuse_foreign_form(request, typed)
        rules = read_rules_form(typed)
        with ctx.database.writing() as session:
            choices.change_rules(session, rules, frozenset({version}))
    except FormProblem as problem:
        return _rules_page(ctx, request, FormState(typed, problem.errors), version)
    except SolespanError as error:
        with ctx.database.reading() as session:
            version = choices.read_rules(session)[1] if isinstance(error, StaleVersion) else version
        return _rules_page(ctx, request, FormState(typed, {"": _said(error)}), version)
    return back_to("/notices", done="rules")


def _rules_page(ctx: AppContext, request: Request, form: FormState, version: int) -> HTMLResponse:
    context = {"form": form, "version": version, "webhook_key": webhook_key(ctx)}
    context["channels"] = channel_words()
    context["languages"] = [(code, one.name) for code, one in LANGUAGES.items()]
    return page_answer(request, "notices/notice_rules.html", context, 422 if form.errors else 200)


@router.get("/notices/wording")
def read_wording_page(ctx: Context, request: Request, language: Words = "en") -> HTMLResponse:
    """Show the wording of a language as a form, and how it reads."""
    language = language if language in LANGUAGES else "en"
    with ctx.database.reading() as session:
        template, version = choices.read_template(session, language)
    return _wording_page(request, template.model_dump(), version, language, sample=template)


@router.post("/notices/wording")
def change_wording(ctx: Context, request: Request, typed: Wording) -> Response:
    """Keep the wording, or show it again with the line that cannot be used."""
    version = _version(typed)
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
            ctx.database, NoticeTemplate(**parts), frozenset({version}), language
        )
    except SolespanError as error:
        return _wording_page(request, parts, version, language, problem=_said(error))
    return back_to("/notices", done="wording")


def _wording_page(
    request: Request,
    parts: dict[str, str],
    version: int,
    language: str,
    *,
    problem: str = "",
    sample: NoticeTemplate | None = None,
) -> HTMLResponse:
    context = {
        "parts": parts,
        "version": version,
        "wording": language,
        "languages": [(code, one.name) for code, one in LANGUAGES.items()],
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


PAGE = PageEntry(
    router, under="/notices", templates=("notices/notice_rules.html", "notices/notice_wording.html")
)
