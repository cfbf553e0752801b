"""Page routes of reminders: how does an owner get reminders and a calendar, and end them?"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from solespan.api.errors import SolespanError
from solespan.api.routes.accounts.sign_in_pages import outside
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context
from solespan.api.services.accounts.sessions import device_in_words
from solespan.api.services.context import AppContext
from solespan.api.services.planning import calendar, reminders
from solespan.api.services.planning.dates import pair_address
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.planning.reminders import reminder_page

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
ADDRESS = "/reminders"
ONE_CLICK = ("List-Unsubscribe", "One-Click")  # RFC 8058
Token = Annotated[str, Path(max_length=100, pattern=r"^[\w.-]+$")]
DONE = {
    "keep": "The reminders are kept.",
    "push": "This device takes reminders now.",
    "remove-push": "That device takes no more reminders.",
    "end": "There are no more reminders.",
    "end-calendar": "The calendar's address is ended.",
    "test": "A test is on its way. It takes up to a minute.",
    "no-way": "Nothing was sent: give a mail address, or let this device take reminders.",
}


@router.get(ADDRESS)
def read_reminders(
    ctx: Context, request: Request, wearer: Words = "", done: Words = ""
) -> HTMLResponse:
    """Show what an owner is reminded of, by which way, and the calendar."""
    return _page(ctx, request, wearer, done=DONE.get(done, ""))


@router.post(ADDRESS + "/calendar")
def make_calendar(ctx: Context, request: Request, typed: Typed) -> Response:
    """Make a new secret address of the calendar; it is on the answer and never again."""
    refuse_foreign_form(request, typed)
    wearer = typed.get("wearer", "")
    with ctx.database.writing() as session:
        made = calendar.new_address(ctx, session, wearer)
    link = pair_address(ctx.settings).rstrip("/") + made["path"]
    answer = _page(ctx, request, wearer, calendar_link=link)
    answer.headers["cache-control"] = "no-store"
    return answer


@router.post(ADDRESS + "/{what}")
def change_reminders(
    ctx: Context,
    request: Request,
    what: Literal["keep", "push", "remove-push", "test", "end", "end-calendar"],
    typed: Typed,
) -> Response:
    """Keep the wishes, let a device take push or no more, send a test, or end all."""
    wearer = typed.get("wearer", "")
    try:
        refuse_foreign_form(request, typed)
        with ctx.database.writing() as session:
            said = _change(ctx, request, session, what, typed)
    except SolespanError as error:
        return _page(ctx, request, wearer, problem=told(error), typed=typed, status=error.status)
    return back_to(ADDRESS, wearer=wearer, done=said)


def _change(
    ctx: AppContext, request: Request, session: Session, what: str, typed: dict[str, str]
) -> str:
    wearer = typed.get("wearer", "")
    if what == "push":
        words = device_in_words(request.headers.get("user-agent", "")[:500])
        reminders.add_push(ctx, session, wearer, {"name": words, **typed})
    elif what == "remove-push":
        reminders.remove_push(session, typed.get("push_id", ""))
    elif what == "test":
        return "test" if reminders.put_test(ctx, session, wearer) else "no-way"
    elif what == "end":
        reminders.end(session, wearer)
    elif what == "end-calendar":
        calendar.end_address(session, wearer)
    else:
        reminders.keep(ctx, session, wearer, typed)
        return "keep"
    return what


@router.get(ADDRESS + "/off/{token}")
def read_off(ctx: Context, request: Request, token: Token, done: Words = "") -> Response:
    """Show the button that ends reminders; nothing is changed."""
    if done != "yes":
        reminders.end_by_link(ctx, token, end=False)
    return outside(ctx, request, "planning/reminders_off.html", {"ended": done == "yes"})


@router.post(ADDRESS + "/off/{token}")
def end_reminders(ctx: Context, request: Request, token: Token, typed: Typed) -> Response:
    """End reminders: from the page's button, or in one click of a mail program."""
    one_click = typed.get(ONE_CLICK[0]) == ONE_CLICK[1]
    if not one_click:
        refuse_foreign_form(request, typed)
    reminders.end_by_link(ctx, token, end=True)
    if one_click:
        return Response(status_code=200)
    return back_to(f"{ADDRESS}/off/{token}", done="yes")


def _page(
    ctx: AppContext,
    request: Request,
    wearer: str,
    *,
    done: str = "",
    problem: str = "",
    calendar_link: str = "",
    typed: dict[str, str] | None = None,
    status: int = 200,
) -> HTMLResponse:
    said: dict[str, Any] = {"done": done, "problem": problem, "calendar_link": calendar_link}
    with ctx.database.reading() as session:
        wearers = reminders.list_wearers(session)
        wearer = wearer or (wearers[0][0] if wearers else "")
        wishes = reminders.wishes_of(ctx, session, wearer) if wearer else None
        feed = calendar.feed_state(session, wearer) if wearer else None
    if wishes is not None and not wishes["public_key"]:
        with ctx.database.writing() as session:  # the first look makes the keys
            wishes["public_key"] = reminders.public_key(session)
    context = reminder_page(wishes, feed, wearers, wearer, typed or {})
    return page_answer(request, "planning/reminders.html", context | said, status)


PAGE = PageEntry(
    router,
    NavEntry("Reminders", ADDRESS, "rack", rare=True),
    templates=("planning/reminders.html",),
    needs=(Need("/reminders/off/[^/]*", "open", "open"),),  # the address holds the secret
)
