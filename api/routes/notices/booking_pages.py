"""Page routes of a booking.

What does a customer see and do behind the link of a booked day, without signing in?

Opening the link changes nothing. The address holds its own secret, as an answer's does.
"""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from solespan.api.errors import SolespanError
from solespan.api.notices.links import form_token
from solespan.api.routes.http.form_token import mask_token
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import Typed, Words
from solespan.api.routes.http.requests import Context
from solespan.api.routes.notices.link_pages import (
    LinkRoute,
    Token,
    outside_page,
    refuse_foreign,
)
from solespan.api.services.context import AppContext
from solespan.api.services.notices.booking_links import (
    Booking,
    cancel_booking,
    free_days_of,
    move_booking,
    open_booking,
)
from solespan.api.services.notices.delivery_config import secret_of
from solespan.dashboards.pages.notices.booking import booking_page
from solespan.dashboards.pages.notices.outside import said_problem
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=LinkRoute)


@router.get("/bookings/{token}")
def read_booking_page(ctx: Context, token: Token, done: Words = "") -> HTMLResponse:
    """Show a booking with its free days; nothing is changed."""
    return _booking_page(ctx, token, open_booking(ctx, token), done=done)


@router.post("/bookings/{token}")
def change_booking(ctx: Context, token: Token, typed: Typed) -> Response:
    """Move or cancel the booking, or show the page again with what is wrong."""
    booking = open_booking(ctx, token)
    cancels = typed.get("act") == "cancel"
    try:
        refuse_foreign(ctx, token, typed)
        if cancels:
            cancel_booking(booking)
        else:
            move_booking(booking, typed)
    except SolespanError as error:
        return _booking_page(ctx, token, open_booking(ctx, token), typed=typed, error=error)
    done = "cancelled" if cancels else "moved"
    return RedirectResponse(f"/bookings/{token}?done={done}", 303)


def _booking_page(
    ctx: AppContext,
    token: str,
    booking: Booking,
    *,
    done: str = "",
    typed: Mapping[str, str] | None = None,
    error: SolespanError | None = None,
) -> HTMLResponse:
    offered = None
    if booking.open:
        with booking.ctx.database.reading() as session:
            offered = free_days_of(session, booking)
    context = booking_page(
        booking.order,
        booking.pair,
        offered,
        done=done if not error else "",
        language=booking.language,
    )
    errors = {}
    if error is not None:
        said = said_problem(error.what, error.remedy, error.where, booking.language)
        errors = {"day": said} if error.where == "day" else {}
        context["problem"] = "" if errors else said
    context |= {
        "form": FormState(dict(typed or {}), errors),
        "token": mask_token(form_token(token, secret_of(ctx))),
    }
    status = error.status if error else 200
    return outside_page(context, status, booking.ctx, template="notices/booking.html")


PAGE = PageEntry(router, needs=(Need("/bookings/.*", "open", "open"),))
