"""Own page acting: what can a customer do with their own pairs, and with nobody else's?"""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.channels import CHANNELS
from solespan.api.errors import Conflict, NotFound, Refused
from solespan.api.notices.languages import LANGUAGES
from solespan.api.schemas.bench.orders import NewOrder
from solespan.api.schemas.forms import FormProblem, Typed, read_day
from solespan.api.schemas.notices.consents import ConsentGiven, ConsentWithdrawn
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.accounts.own_page.reading import own_id
from solespan.api.services.bench import orders as bench_orders
from solespan.api.services.bench.booking.free_days import DayNotFree
from solespan.api.services.bench.quotes import agree
from solespan.api.services.context import AppContext
from solespan.api.services.notices import consents
from solespan.api.services.rack import records
from solespan.api.services.rack.wear_today import log_tap
from solespan.api.storage.bench.customer_orders import orders_of_wearer
from solespan.api.storage.notices.notices import answer_last
from solespan.api.storage.rack.records import list_records, owner_of
from solespan.forecast.frames import FEET, GRADES

__all__ = [
    "agree_to_quote",
    "book_own_pair",
    "change_own_choices",
    "check_own_pair",
    "log_own_wear",
]

MOST_ORDERS = 400
HOW = "on the customer's own page"
BY = "the customer"
BOOKED = "Booked by the customer, on their own page."


def log_own_wear(ctx: AppContext, session: Session, who: Identity, typed: Typed) -> dict[str, Any]:
    """Log a wear today of one of the customer's own pairs. Raises `NotFound` for any other."""
    _own_pair(session, who, typed)
    return log_tap(ctx, session, typed)


def agree_to_quote(ctx: AppContext, session: Session, who: Identity, typed: Typed) -> None:
    """Say yes to a way of the quote of an own pair.

    Raises `NotFound` for an order that is not theirs, and what `agree` raises.
    """
    own_id(session, who)
    order_id = typed.get("order", "")
    orders = orders_of_wearer(session, who.wearer_pk or 0, MOST_ORDERS)
    if order_id not in {order["order_id"] for order in orders}:
        raise NotFound("You have no such order here.", where="order")
    version = typed.get("version", "")
    number = int(version) if version.isdecimal() and len(version) < 10 else 0
    works = typed.get("works", "").split()
    order = agree(session, order_id, works, number, ctx.clock, offered_only=True)
    ctx.forecaster.update_owner(session, order["pair_id"])


def check_own_pair(ctx: AppContext, session: Session, who: Identity, typed: Typed) -> None:
    """Log how the soles of an own pair feel today. Raises `NotFound`, `Refused`."""
    pair_id, today = _own_pair(session, who, typed), _today(ctx, session, who)
    grades = {foot: typed[foot] for foot in FEET if typed.get(foot)}
    if not grades or any(grade not in GRADES for grade in grades.values()):
        raise Refused(
            "Say for one shoe at least how the sole feels.",
            where="left, right",
            accepted=", ".join(GRADES),
            remedy="Choose one of these.",
        )
    for foot, grade in grades.items():
        where = {"foot": foot, "point": "ball", "method": "thumb"}
        key = {"pair_id": pair_id, "checked_on": today, **where}
        values = {"value_mm": None, "grade": grade}
        try:
            written = records.create(session, "checks", key | values, ctx.clock)
        except Conflict:  # told once already today: the later word counts
            written = records.replace(
                session, "checks", key, values, versions=None, clock=ctx.clock
            )
    answer_last(session, pair_id, "checked", ctx.clock.now())  # the desk reads of it
    ctx.forecaster.update_wearer(session, written.wearer_id)


def book_own_pair(ctx: AppContext, session: Session, who: Identity, typed: Typed) -> None:
    """Book an own pair in for a new sole. Raises `NotFound`, and what booking raises."""
    pair_id = _own_pair(session, who, typed)
    owner_of(session, "pair_id", pair_id, lock=True)  # one booking after the other
    orders = orders_of_wearer(session, who.wearer_pk or 0, MOST_ORDERS)
    if any(one["pair_id"] == pair_id and one["stage"] in OPEN_STAGES for one in orders):
        raise Conflict(
            "This pair is booked in already.",
            where="the pair",
            remedy="There is nothing more to do; the shop is waiting for it.",
        )
    try:
        day = read_day(typed, "day")
    except FormProblem:
        raise Refused(
            "The day is missing, or it is no day.",
            where="day",
            accepted="a day as YYYY-MM-DD",
            remedy="Give the day on which you bring or post it.",
        ) from None
    order = NewOrder(
        pair_id=pair_id,
        work="full_sole",
        expected_on=day,
        by_post=typed.get("way") == "post",
        note=BOOKED,
    )
    try:
        bench_orders.book(session, order, ctx.clock)
    except DayNotFree as full:
        remedy = "Choose another day, or get in touch with the shop."
        raise Refused(full.what, where="day", accepted="a free day", remedy=remedy) from None
    answer_last(session, pair_id, "booked", ctx.clock.now())  # the desk reads of it


def change_own_choices(ctx: AppContext, session: Session, who: Identity, typed: Typed) -> None:
    """Keep the customer's language, and by which ways they agree to be written to.

    A way is agreed to here only where it writes to an address of the customer's record; every
    consent that holds can be withdrawn. Raises `Refused`.
    """
    wearer_id = own_id(session, who)
    language = typed.get("language", "")
    if language not in LANGUAGES:
        raise Refused(
            "This language is not known here.",
            where="language",
            accepted=", ".join(LANGUAGES),
            remedy="Choose one of these.",
        )
    key, values = {"wearer_id": wearer_id}, {"language": language}
    records.replace(session, "wearers", key, values, versions=None, clock=ctx.clock)
    held = consents.held_consents(session, [wearer_id]).get(wearer_id, {})
    (wearer,) = list_records(session, "wearers", equal=key, limit=1)
    for channel, entry in CHANNELS.items():
        agrees = typed.get(f"by_{channel}") == "true"
        if channel in held and not agrees:
            ended = ConsentWithdrawn(wearer_id=wearer_id, channel=channel, how=HOW)
            consents.withdraw(session, ended, ctx.clock)
        elif channel not in held and agrees and entry.address.kept == "wearer" and wearer["email"]:
            given = ConsentGiven(wearer_id=wearer_id, channel=channel, how=HOW, by=BY)
            consents.give(session, given, ctx.clock)


def _own_pair(session: Session, who: Identity, typed: Typed) -> str:
    pair_id = typed.get("pair", "")
    equal = {"wearer_id": own_id(session, who), "pair_id": pair_id}
    if not list_records(session, "pairs", equal=equal, limit=1):
        raise NotFound("You have no such pair here.", where="pair")
    return pair_id


def _today(ctx: AppContext, session: Session, who: Identity) -> Any:
    equal = {"wearer_id": own_id(session, who)}
    (wearer,) = list_records(session, "wearers", equal=equal, limit=1)
    return ctx.clock.today(wearer["time_zone"])
