"""Booking links service: what may a customer do with a booked day by the link of its mail?

Opening the link changes nothing. Its forms move the day to a free one, or cancel the booking. Both
follow the bench's calendar, and the history says that the customer did it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.author import Author
from solespan.api.errors import Conflict, Refused
from solespan.api.notices.languages import Language, language_of
from solespan.api.schemas.bench.orders import Move
from solespan.api.schemas.forms import FormProblem, read_day
from solespan.api.services.bench import orders
from solespan.api.services.bench.booking.free_days import (
    DayNotFree,
    DaysOffered,
    FreeDaysAsked,
    booking_calendar,
    shop_today,
)
from solespan.api.services.context import AppContext
from solespan.api.services.notices.answering import check_link, link_unknown
from solespan.api.services.notices.booking_delivery import booking_path
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.rack.records import find_record
from solespan.api.storage.bench import booking_messages as stored
from solespan.api.storage.bench.orders import find_order
from solespan.forecast.bench.visits import works_of
from solespan.forecast.dates.day_words import short_day

__all__ = [
    "Booking",
    "cancel_booking",
    "change_path",
    "free_days_of",
    "move_booking",
    "open_booking",
]

_CUSTOMER = Author("a customer", "changed a booking")
_CANCELLED = "The customer cancelled it."


@dataclass(frozen=True)
class Booking:
    """What a link opens: the shop's services, the order with its pair, today, and a language."""

    ctx: AppContext
    order: dict[str, Any]
    pair: Mapping[str, Any]
    today: date
    language: Language

    @property
    def open(self) -> bool:
        """Whether the day is still to come."""
        return self.order["stage"] in stored.WAITING


def open_booking(ctx: AppContext, token: str) -> Booking:
    """Read a link. Raises `LinkUnknown`, `LinkOver`."""
    shop, link = check_link(ctx, token)
    if link.purpose != "booking":
        raise link_unknown()
    shop = shop.for_tenant(shop.database.tenant_pk, _CUSTOMER)
    with shop.database.reading() as session:
        return _booking(shop, session, link.notice_id)


def _booking(shop: AppContext, session: Session, message_id: str) -> Booking:
    order_pk = stored.order_of_message(session, message_id)
    if order_pk is None:
        raise link_unknown()
    told = stored.booked_order(session, order_pk)
    order = find_order(session, told["order_id"])
    pair = find_record(session, "pairs", {"pair_id": told["pair_id"]})
    if order is None or pair is None:
        raise link_unknown()
    language = language_of(told["language"], read_rules(session)[0].language)
    today = shop_today(session, shop.clock, told["time_zone"])
    return Booking(shop, order, pair, today, language)


def change_path(ctx: AppContext, session: Session, order: Mapping[str, Any]) -> str:
    """Return the path of the page that moves or cancels an order; empty = there is none."""
    message_id = stored.newest_message_id(session, order["order_id"])
    if message_id is None or order["expected_on"] is None or order["received"]:
        return ""
    return booking_path(ctx, message_id, order["expected_on"])


def free_days_of(session: Session, booking: Booking) -> DaysOffered:
    """Return the days to which a booking may move."""
    order = booking.order
    calendar = booking_calendar(session, booking.today, without=order["id"])
    works = works_of(order["work"], order["more_works"])
    asked = FreeDaysAsked(works, booking.pair["construction"], order["by_post"])
    return calendar.offer(asked, booking.today + timedelta(days=1), but=order["expected_on"])


def move_booking(booking: Booking, typed: Mapping[str, str]) -> None:
    """Move a booking to a free day; a promised day follows where it must.

    Raises `Refused` for a day that is not free, `Conflict` where the pair is here already.
    """
    try:
        day = read_day(typed, "day")
    except FormProblem:
        raise _not_free("The day is missing.") from None
    with booking.ctx.database.writing() as session:
        now = _still_open(session, booking)
        free = free_days_of(session, now).days
        chosen = next((one for one in free if one.day == day), None)
        if chosen is None:
            raise _not_free(f"{short_day(day)} is not free.")
        promised = now.order["promised_on"]
        values = {"expected_on": day, "promised_on": promised and max(promised, chosen.ready_by)}
        try:
            orders.amend(session, now.order["order_id"], values, None, now.ctx.clock)
        except DayNotFree as full:
            raise _not_free(full.what) from None


def cancel_booking(booking: Booking) -> None:
    """Cancel a booking; a cancelled one stays as it is. Raises `Conflict`."""
    with booking.ctx.database.writing() as session:
        now = _still_open(session, booking)
        move = Move(to="cancelled", version=now.order["version"], note=_CANCELLED)
        orders.step(session, now.order["order_id"], move, now.ctx.clock)


def _still_open(session: Session, booking: Booking) -> Booking:
    order = find_order(session, booking.order["order_id"], lock=True)
    if order is None:
        raise link_unknown()
    if order["stage"] not in stored.WAITING:
        raise Conflict(
            "This booking cannot be changed any more.",
            where="the booking",
            remedy="Please get in touch with the shop.",
        )
    return replace(booking, order=order)


def _not_free(what: str) -> Refused:
    return Refused(
        what,
        where="day",
        accepted="a free day of the list",
        remedy="Choose a day of the list, or get in touch with the shop.",
    )
