"""Page routes of my.

What does a customer of a shop see and do who came in by their own link: their pairs, and no other?
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from solespan.api.channels import CHANNELS
from solespan.api.errors import NotFound, SolespanError
from solespan.api.notices.customer_words import pairs_in_words, way_sentence
from solespan.api.notices.languages import LANGUAGES, Language, language_of
from solespan.api.notices.words import THUMB_CHECK
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey, Sender, json_answer
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.accounts.own_page import acting, reading
from solespan.api.services.context import AppContext
from solespan.dashboards.pages.accounts.own_rack import own_rack_page
from solespan.dashboards.pages.notices.outside import said_problem
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
Act = Callable[[AppContext, Session, Identity, Mapping[str, str]], None]


@router.get("/my")
def read_own_rack(ctx: Context, request: Request, who: Sender, done: Words = "") -> Response:
    """Show the customer's own pairs: those at the shop first, then the one to send first."""
    return _page(ctx, request, who, done=done)


@router.post("/my/wear")
def log_own_wear_today(
    ctx: Context, request: Request, who: Sender, typed: Typed, key: IdempotencyKey
) -> Response:
    """Log a wear today of one of the customer's own pairs."""
    refuse_foreign_form(request, typed)
    done = do_once(
        ctx, key, "POST /my/wear", typed, lambda s: acting.log_own_wear(ctx, s, who, typed)
    )
    if done["needs_fit"]:
        ctx.refitter.wake()
    return back_to("/my", done=done["done"])


@router.post("/my/quote")
def agree_to_own_quote(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Say yes to a way of the quote of an own pair."""
    return _acted(ctx, request, who, typed, acting.agree_to_quote, "agreed")


@router.post("/my/check")
def tell_own_check(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Log how the soles of an own pair feel."""
    return _acted(ctx, request, who, typed, acting.check_own_pair, "checked")


@router.post("/my/book")
def book_own(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Book an own pair in."""
    return _acted(ctx, request, who, typed, acting.book_own_pair, "booked")


@router.post("/my/choices")
def keep_own_choices(ctx: Context, request: Request, who: Sender, typed: Typed) -> Response:
    """Keep the customer's language and consents."""
    return _acted(ctx, request, who, typed, acting.change_own_choices, "choices")


@router.get("/my/photographs/{photo_id}")
def read_own_photograph(ctx: Context, who: Sender, photo_id: str) -> Response:
    """Send a photograph of an own pair."""
    with ctx.database.reading() as session:
        media_type, content = reading.own_photograph(session, who, photo_id)
    headers = {"cache-control": "private, max-age=31536000, immutable"}
    return Response(content, media_type=media_type, headers=headers)


@router.get("/my/record.json")
def download_own_data(ctx: Context, who: Sender) -> Response:
    """Hand out the customer's own data as a file."""
    with ctx.database.reading() as session:
        data = reading.own_data(session, who)
    headers = {
        "content-disposition": 'attachment; filename="my-pairs.json"',
        "cache-control": "no-store",
    }
    return json_answer(data, headers=headers)


def _acted(
    ctx: AppContext, request: Request, who: Identity, typed: Typed, act: Act, done: str
) -> Response:
    refuse_foreign_form(request, typed)
    try:
        with ctx.database.writing() as session:
            act(ctx, session, who, typed)
    except NotFound:
        raise
    except SolespanError as error:
        return _page(ctx, request, who, error=error)
    return back_to("/my", done=done)


def _page(
    ctx: AppContext,
    request: Request,
    who: Identity,
    *,
    done: str = "",
    error: SolespanError | None = None,
) -> Response:
    with ctx.database.reading() as session:
        mine = reading.own_pairs(ctx, session, who)
    rules = mine["rules"]
    language = language_of(mine["wearer"]["language"], rules.language)
    today = ctx.clock.today(mine["wearer"]["time_zone"])
    told = pairs_in_words(mine, today, language)
    context = own_rack_page(mine, told, language, today=today, done=done)
    context |= _frame(mine, language)
    if error is not None:
        context["problem"] = said_problem(error.what, error.remedy, error.where, language)
    return page_answer(request, "accounts/my.html", context, error.status if error else 200)


def _frame(mine: Mapping[str, Any], language: Language) -> dict[str, Any]:
    """Gather what the page needs besides its pairs."""
    held = mine["consents"]
    offered = [
        name
        for name, entry in CHANNELS.items()
        if name in held or (entry.address.kept == "wearer" and mine["wearer"]["email"])
    ]
    return {
        "shop_name": mine["rules"].shop_name,
        "contact": mine["rules"].shop_contact.splitlines(),
        "language": language,
        "languages": [(code, one.own_name, "") for code, one in LANGUAGES.items()],
        "ways": [
            {"channel": name, "held": name in held, "word": way_sentence(name, language)}
            for name in offered
        ],
        "form": FormState(),
        "problem": "",
        "thumb_check": THUMB_CHECK,
    }


PAGE = PageEntry(router, needs=(Need("/my(/.*)?", "own", "own"),))
