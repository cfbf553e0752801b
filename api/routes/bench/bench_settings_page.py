"""Page of the bench's settings: one form of all of them, each with its default and its origin."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.schemas.forms import FormProblem, cut, text_of
from solespan.api.schemas.model_form import form_parts, read_model_form, typed_of
from solespan.api.services.bench.bench_settings import (
    change_bench_settings,
    read_bench_settings,
)
from solespan.api.services.context import AppContext
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
ADDRESS = "/bench-settings"
MOST_FIELDS = 2500  # 400 closures, 50 benches and 20 machines with all their ticks


async def _fields(request: Request) -> dict[str, str]:
    form = await request.form(max_files=0, max_fields=MOST_FIELDS)
    return {name: cut(name, text) for name, text in form.items() if isinstance(text, str)}


Fields = Annotated[dict[str, str], Depends(_fields)]


@router.get(ADDRESS)
def read_settings(ctx: Context, request: Request, done: Words = "") -> HTMLResponse:
    """Show the settings as a form."""
    return _page(ctx, request, done="The settings are kept." if done else "")


@router.post(ADDRESS)
def change_settings(ctx: Context, request: Request, typed: Fields) -> Response:
    """Keep what was typed; an empty field takes its default."""
    try:
        refuse_foreign_form(request, typed)
        settings = read_model_form(BenchSettings, typed)
        version = text_of(typed, "version")
        known = frozenset({int(version)}) if version.isdecimal() and len(version) < 10 else None
        with ctx.database.writing() as session:
            change_bench_settings(session, settings, known)
    except FormProblem as problem:
        return _page(ctx, request, FormState(typed, problem.errors))
    except SolespanError as error:
        return _page(ctx, request, FormState(typed, {"": told(error)}))
    return back_to(ADDRESS, done="kept")


def _page(
    ctx: AppContext, request: Request, form: FormState | None = None, *, done: str = ""
) -> HTMLResponse:
    with ctx.database.reading() as session:
        settings, version = read_bench_settings(session)
    shown = form or FormState(typed_of(settings))
    parts = form_parts(BenchSettings, shown.values)
    wrong = {part.name for part in parts for name in shown.errors if name.startswith(part.name)}
    context = {"form": shown, "parts": parts, "version": version, "done": done, "opened": wrong}
    return page_answer(request, "bench/bench_settings.html", context, 422 if form else 200)


PAGE = PageEntry(
    router,
    NavEntry("Bench settings", ADDRESS, "shop", rare=True),
    templates=("bench/bench_settings.html",),
)
