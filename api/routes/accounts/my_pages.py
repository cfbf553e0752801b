"""Page routes of my.

What does a customer of a shop see who came in by their own link: their pairs, and one tap?
"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

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
from solespan.api.routes.http.requests import Context, IdempotencyKey, Sender
from solespan.api.services.accounts.customers import log_own_wear, own_rack
from solespan.api.services.notices.choices import read_rules
from solespan.dashboards.pages.accounts.own_rack import own_rack_page

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)


@router.get("/my")
def read_own_rack(ctx: Context, request: Request, who: Sender, done: Words = "") -> Response:
    """Show the customer's own pairs, the one to send first at the top."""
    with ctx.database.reading() as session:
        mine = own_rack(session, who) | {"shop_name": read_rules(session)[0].shop_name}
    today = ctx.clock.today(mine["wearer"]["time_zone"])
    return page_answer(request, "accounts/my.html", own_rack_page(mine, today=today, done=done))


@router.post("/my/wear")
def log_own_wear_today(
    ctx: Context, request: Request, who: Sender, typed: Typed, key: IdempotencyKey
) -> Response:
    """Log a wear today of one of the customer's own pairs."""
    refuse_foreign_form(request, typed)
    done = do_once(ctx, key, "POST /my/wear", typed, lambda s: log_own_wear(ctx, s, who, typed))
    if done["needs_fit"]:
        ctx.refitter.wake()
    return back_to("/my", done=done["done"])


PAGE = PageEntry(router, needs=(Need("/my(/.*)?", "own", "own"),))
