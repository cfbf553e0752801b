"""Which pages does a browser get, and what happens to the forms it posts?

Pages are read with GET and changed with plain form posts that end in a redirect, so that going back
or reloading repeats nothing. Failures are pages too.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable, Coroutine
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, RedirectResponse
from fastapi.routing import APIRoute
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException

from api.errors import NotFound, SolespanError
from api.routes.http import Serving
from api.services.page_forms import FormProblem, log_record, read_check, read_wear
from api.services.pages import figure_frames, pair_context, rack_context, rack_frames
from api.wiring import Services
from dashboards.assets import asset_by_url_name
from dashboards.figures import FIGURES
from dashboards.pages.pair import FORM_NAMES, FormState, form_choices
from dashboards.render import figure_json, render

__all__ = ["router"]

FOR_EVER = "public, max-age=31536000, immutable"
TOKEN = "form_token"  # noqa: S105 - the name of a field and a cookie
MOST_FIELDS = 30
MOST_CHARACTERS = 500
DONE = {
    "wear": "The wear day is logged.",
    "check": "The check is logged.",
    "same": "That was logged already; nothing changed.",
}


class PageRoute(APIRoute):
    """A route whose failures are pages."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Wrap the handler so that an error of ours becomes a page with its status."""
        handler = super().get_route_handler()

        async def page_or_failure(request: Request) -> Response:
            try:
                return await handler(request)
            except SolespanError as error:
                return _failure(error.status, error.title, [error.what, error.remedy])
            except RequestValidationError:
                return _failure(422, "This address cannot be read", ["A part of it is too long."])
            except HTTPException as error:
                return _failure(error.status_code, "This cannot be done", [str(error.detail)])

        return page_or_failure


router = APIRouter()
pages = APIRouter(route_class=PageRoute)

Words = Annotated[str, Query(max_length=MOST_CHARACTERS)]


async def _typed(request: Request) -> dict[str, str]:
    form: FormData = await request.form(max_files=0, max_fields=MOST_FIELDS)
    return {name: value[:MOST_CHARACTERS] for name, value in form.items() if isinstance(value, str)}


Typed = Annotated[dict[str, str], Depends(_typed)]


def _failure(status: int, title: str, lines: list[str]) -> HTMLResponse:
    return HTMLResponse(
        render("failure.html", {"heading": title, "lines": [*filter(None, lines)]}), status
    )


@pages.get("/")
def read_rack(serving: Serving, wearer: Words = "", band: Words = "") -> HTMLResponse:
    """Show all pairs, the one to send first at the top."""
    context = rack_context(serving, wearer, band)
    chosen = {name: value for name, value in (("wearer", wearer), ("band", band)) if value}
    query = f"?{urlencode(chosen)}" if chosen else ""
    return HTMLResponse(render("rack.html", context | {"query": query}))


@pages.get("/pairs/{pair_id:path}")
def read_pair(serving: Serving, request: Request, pair_id: str, done: Words = "") -> HTMLResponse:
    """Show one pair: when, how sure, what was logged, and the forms to log more."""
    return _pair_page(serving, request, pair_id, done=DONE.get(done, ""))


@pages.post("/pairs/{pair_id:path}/wear-days")
def log_wear_day(serving: Serving, request: Request, pair_id: str, typed: Typed) -> Response:
    """Log the day typed into the form, or show the form again with what is wrong."""
    return _log(serving, request, pair_id, typed, form="wear", table="wear_days", read=read_wear)


@pages.post("/pairs/{pair_id:path}/checks")
def log_check(serving: Serving, request: Request, pair_id: str, typed: Typed) -> Response:
    """Log the check typed into the form, or show the form again with what is wrong."""
    form = "thumb" if typed.get("form") == "thumb" else "reading"
    return _log(serving, request, pair_id, typed, form=form, table="checks", read=read_check)


def _log(
    serving: Services,
    request: Request,
    pair_id: str,
    typed: dict[str, str],
    *,
    form: str,
    table: str,
    read: Callable[[str, dict[str, str]], dict[str, Any]],
) -> Response:
    try:
        _check_token(request, typed)
        new = log_record(
            serving, table, read(pair_id, typed), replacing=typed.get("replace") == "true"
        )
    except FormProblem as problem:
        state = FormState(typed, problem.errors, replaceable=problem.replaceable)
        return _pair_page(serving, request, pair_id, forms={form: state})
    done = ("wear" if form == "wear" else "check") if new else "same"
    return RedirectResponse(f"/pairs/{quote(pair_id, safe='')}?done={done}", 303)


def _check_token(request: Request, typed: dict[str, str]) -> None:
    """Refuse a form that did not come from a page of ours in this browser.

    The gate has refused what a browser calls cross-site already; the token, which another site can
    neither read nor set, is the second wall.
    """
    given, kept = typed.get(TOKEN, ""), request.cookies.get(TOKEN, "")
    if not kept or not hmac.compare_digest(given.encode(), kept.encode()):
        raise FormProblem({"": "The page was too old, or cookies are off; please send it again."})


def _pair_page(
    serving: Services,
    request: Request,
    pair_id: str,
    *,
    done: str = "",
    forms: dict[str, FormState] | None = None,
) -> HTMLResponse:
    token = request.cookies.get(TOKEN) or secrets.token_urlsafe(24)
    states = {name: FormState() for name in FORM_NAMES} | (forms or {})
    context = pair_context(serving, pair_id) | form_choices() | states
    page = render("pair.html", context | {"token": token, "done": done})
    answer = HTMLResponse(page, 422 if forms else 200)
    if TOKEN not in request.cookies:
        answer.set_cookie(
            TOKEN, token, httponly=True, samesite="strict", secure=request.url.scheme == "https"
        )
    return answer


@router.get("/figures/{name}.json")
def read_rack_figure(serving: Serving, name: str, wearer: Words = "", band: Words = "") -> Response:
    """Draw a figure of the rack page, as JSON that the page's script draws."""
    _of_page(name, "rack")
    frames, today = rack_frames(serving, wearer, band)
    return _figure(name, frames, today)


@router.get("/figures/{name}/{pair_id:path}.json")
def read_pair_figure(serving: Serving, name: str, pair_id: str) -> Response:
    """Draw a figure of the pair page, as JSON that the page's script draws."""
    _of_page(name, "pair")
    frames, today = figure_frames(serving, pair_id, FIGURES[name].needs)
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
