"""Page requests.

What do all page routes share: failures as pages, form fields, the form's token, doing once?

A form of ours carries a token that also stands in a cookie. A script that sends a form names the
attempt in `Idempotency-Key`, so that sending it again after a lost answer repeats nothing.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Coroutine, Mapping, Sequence
from datetime import date
from typing import Annotated, Any
from urllib.parse import urlencode

import pandas as pd
from fastapi import Depends, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, RedirectResponse
from fastapi.routing import APIRoute
from sqlalchemy.orm import Session
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException

from solespan.api.errors import Conflict, Refused, SolespanError
from solespan.api.routes.http.form_token import is_token, mask_token
from solespan.api.routes.http.problem_document import retry_header
from solespan.api.schemas.forms import MOST_CHARACTERS, cut
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.context import AppContext
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.dashboards.navigation import NavEntry, shown_entries
from solespan.dashboards.pages.rack.answers import moved_words
from solespan.dashboards.render import render

__all__ = [
    "MOST_CHARACTERS",
    "MOST_FIELDS",
    "SHOP",
    "TOKEN",
    "PageRoute",
    "Typed",
    "Words",
    "back_to",
    "do_once",
    "entries_for",
    "failure_page",
    "number_of",
    "over_tls",
    "page_answer",
    "read_cookie",
    "refuse_foreign_form",
    "refuse_other_account",
    "set_cookie",
    "shows_shop",
    "told",
]

SHOP = "shop"  # the cookie that says whether the shop's pages are shown
TOKEN = "form_token"  # noqa: S105 - the name of a field and a cookie
ACCOUNT = "account"
REVISION_LENGTH = 32
SAID = {
    "changed": "The changes are kept.",
    "same": "Nothing was changed.",
    "deleted": "Deleted.",
    "moved": "Moved. This is its pair now.",
    "back": "It is as it was before.",
    "undone": "Undone.",
    "connected": "This device is connected. It stays so until somebody removes it.",
}
MOST_FIELDS = 60


class PageRoute(APIRoute):
    """A route whose failures are pages."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Wrap the handler so that an error of ours becomes a page with its status."""
        handler = super().get_route_handler()

        async def page_or_failure(request: Request) -> Response:
            entries = request.app.state.navigation
            try:
                return await handler(request)
            except SolespanError as error:
                return failure_page(entries, error.status, error.title, error.told())
            except RequestValidationError:
                return failure_page(
                    entries, 422, "This address cannot be read", ["A part of it is too long."]
                )
            except HTTPException as error:
                said = [str(error.detail)]
                page = failure_page(entries, error.status_code, "This cannot be done", said)
                page.headers.update(error.headers or {})
                return page

        return page_or_failure


Words = Annotated[str, Query(max_length=MOST_CHARACTERS)]


def number_of(page: str) -> int:
    """Read the number of a page of a list from its address; the first where it is none."""
    return int(page[:6]) if page.isascii() and page.isdecimal() else 1


async def _typed(request: Request) -> dict[str, str]:
    form: FormData = await request.form(max_files=0, max_fields=MOST_FIELDS)
    return {name: cut(name, text) for name, text in form.items() if isinstance(text, str)}


Typed = Annotated[dict[str, str], Depends(_typed)]


def failure_page(
    entries: Sequence[NavEntry], status: int, title: str, lines: list[str]
) -> HTMLResponse:
    """Answer a page that says what went wrong, with the navigation's entries."""
    said = {"heading": title, "lines": [*filter(None, lines)]}
    page = render("failure.html", said, entries)
    return HTMLResponse(page, status, retry_header(status))


def told(error: SolespanError) -> str:
    """Tell an error on a page: what is wrong, what would do, and what to do now; no field names."""
    accepted = f"Possible: {error.accepted}." if error.accepted else ""
    return " ".join(filter(None, [error.what, accepted, error.remedy]))


class ForeignForm(Refused):
    """The form did not come from a page of ours in this browser, or its cookie is gone."""

    title = "Please send this again"


def refuse_foreign_form(request: Request, typed: Mapping[str, str]) -> None:
    """Raise `ForeignForm` unless the form carries this browser's token.

    The gate has refused what a browser calls cross-site already; the token, which another site can
    neither read nor set, is the second wall.
    """
    if not is_token(typed.get(TOKEN, ""), read_cookie(request, TOKEN)):
        raise ForeignForm(
            "The page was too old, or cookies are off; please send it again.",
            remedy="Go back, load the page again and send the form once more.",
        )


class OtherAccount(Conflict):
    """What is sent was logged by somebody else on the same device."""

    title = "Logged by another person"


def refuse_other_account(request: Request, typed: Mapping[str, str]) -> None:
    """Raise `OtherAccount` when the form was filled under another account than sends it now.

    The person signed in by then sends a wear that waited on a phone for a network.
    """
    who: Identity = request.state.identity
    if typed.get(ACCOUNT, who.account) != who.account:
        raise OtherAccount(
            "This was logged under another account than the one signed in now.",
            remedy="Sign in to the account that logged it. It waits on this device until then.",
        )


def page_answer(
    request: Request, template: str, context: Mapping[str, Any], status: int = 200
) -> HTMLResponse:
    """Fill a template that holds forms, and see that this browser has its token."""
    token = read_cookie(request, TOKEN) or secrets.token_urlsafe(24)
    who: Identity | None = request.state.identity
    context = {**context, "token": mask_token(token), "account": who.account if who else ""}
    context |= _notice(request, str(context.get("done", ""))) | {"shop_pages": shows_shop(request)}
    answer = HTMLResponse(render(template, context, entries_for(request, template)), status)
    if not read_cookie(request, TOKEN):
        set_cookie(request, answer, TOKEN, token)
    return answer


def shows_shop(request: Request) -> bool:
    """Return whether the shop's pages are shown first: as chosen, else to a shop's members only."""
    who: Identity | None = request.state.identity
    usual = "on" if who is not None and who.shop else "off"
    return (read_cookie(request, SHOP) or usual) == "on"


def entries_for(request: Request, template: str) -> Sequence[NavEntry]:
    """Return the entries of the navigation for this reader on a page of this template."""
    entries: Sequence[NavEntry] = request.app.state.navigation
    return shown_entries(entries, template, shop=shows_shop(request))


def _notice(request: Request, done: str) -> dict[str, str]:
    """Say what was done on the page before, and which revision its Undo button takes back."""
    revision = request.query_params.get("undo", "")
    known = len(revision) == REVISION_LENGTH and revision.isalnum() and revision.isascii()
    said = SAID.get(request.query_params.get("said", ""), "")
    done = " ".join(filter(None, (done or said, _moved(request))))
    return {"done": done, "undo": revision if known else "", "here": request.url.path}


def _moved(request: Request) -> str:
    """Say how the wear that was logged just now moved the send-by date."""
    ctx: AppContext = request.app.state.services
    try:
        was, now = (date.fromisoformat(request.query_params.get(n, "")) for n in ("was", "now"))
    except ValueError:
        return ""
    return moved_words(*map(pd.Timestamp, (was, now, ctx.clock.today())))


def set_cookie(
    request: Request, answer: Response, name: str, value: str, *, max_age_s: int | None = None
) -> None:
    """Set a cookie that no script reads and no other site sends."""
    answer.set_cookie(
        _cookie_name(request, name),
        value,
        max_age=max_age_s,
        httponly=True,
        samesite="strict",
        secure=over_tls(request),
    )


def read_cookie(request: Request, name: str) -> str:
    """Return the value of a cookie that `set_cookie` set; empty without it."""
    return request.cookies.get(_cookie_name(request, name), "")


def _cookie_name(request: Request, name: str) -> str:
    """Return a cookie's name; over TLS one that browsers bind to this host."""
    ctx: AppContext = request.app.state.services
    return f"__Host-{name}" if ctx.settings.over_tls else name


def over_tls(request: Request) -> bool:
    """Return whether the browser came by https, also where a proxy handles TLS."""
    ctx: AppContext = request.app.state.services
    return request.url.scheme == "https" or ctx.settings.over_tls


def back_to(address: str, **query: str) -> RedirectResponse:
    """Send the browser on with GET, so that reloading repeats nothing."""
    given = {name: value for name, value in query.items() if value}
    mark = "&" if "?" in address else "?"
    return RedirectResponse(f"{address}{mark}{urlencode(given)}" if given else address, 303)


def do_once(
    ctx: AppContext,
    key: str | None,
    route: str,
    typed: Mapping[str, str],
    work: Callable[[Session], dict[str, Any]],
) -> dict[str, Any]:
    """Do what a form asks in one transaction, or give what this key's first attempt gave.

    What `work` returns must be JSON values. Whatever it raises is passed on; nothing is kept then.
    """
    said = {name: value for name, value in sorted(typed.items()) if name != TOKEN}
    fingerprint = fingerprint_of(route.encode(), json.dumps(said).encode())
    answered = ctx.idempotency.once(
        route, key, fingerprint, lambda session: Answered(303, work(session))
    )
    result: dict[str, Any] = answered.body
    return result
