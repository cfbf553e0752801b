"""Orders service.

How does a piece of work go from booked to returned, and what does each step need and do?

Each step is one transaction of the order's new stage, its line in the audit, and changes of the
log. These are the job in `bench_jobs`, readings, the old sole's end and the new one's beginning.
Nobody can take a step twice: a step names the version it was decided on.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import Conflict, Refused, StaleVersion
from solespan.api.schemas.bench.orders import Move, NewOrder
from solespan.api.services.bench.booking.free_days import (
    DAYS,
    BookingCalendar,
    DayNotFree,
    FreeDaysAsked,
    booking_calendar,
    shop_today,
)
from solespan.api.services.bench.booking.messages import tell_of_booking, withdraw_booking
from solespan.api.services.bench.found_orders import describe, found_order, refuse_elsewhere
from solespan.api.services.bench.quotes import works_columns
from solespan.api.services.bench.steps import STEPS, Step, done_by
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.bench import orders as stored
from solespan.api.storage.bench.orders import count_open, list_orders, open_orders
from solespan.api.storage.notices.advice import came_by_advice
from solespan.api.storage.notices.hook_events import put_order_event
from solespan.api.storage.rack.records import find_record, list_records, owner_of
from solespan.api.storage.scope import name_changed
from solespan.forecast.bench.visits import works_of
from solespan.forecast.layers.carriers import admits

WARRANTED = ("checked", "posted_back", "returned")
__all__ = [
    "amend",
    "book",
    "count_open",
    "list_orders",
    "open_orders",
    "remove",
    "step",
]


def book(
    session: Session,
    given: NewOrder,
    clock: Clock,
    *,
    advised: bool = False,
    promise: bool = False,
) -> dict[str, Any]:
    """Book a piece of work; return the order.

    An order is `advised` where it answers a notice, or where a notice about the sole has gone out
    and its window holds. With `promise` an order without a promised day gets the first one that
    the bench can keep.

    Raises `NotFound` for an unknown pair, and `Conflict` when the pair is at another bench or the
    id is taken. Raises `Refused` when a day cannot be, and `DayNotFree` unless `overrule` gives
    the reason.
    """
    owner = owner_of(session, "pair_id", given.pair_id, lock=True)
    if owner is None or owner.pair_pk is None:
        raise unknown_id(session, "pairs", "pair_id", given.pair_id)
    refuse_elsewhere(session, owner.pair_pk, given.pair_id)
    today = shop_today(session, clock, owner.time_zone)
    for name in ("expected_on", "promised_on"):
        day = getattr(given, name)
        if day is not None and day < today:
            raise Refused(
                f"{name}: {day} is past.",
                where=name,
                accepted=f"{today} or later",
                remedy="Give a day to come, or leave it out.",
            )
    _refuse_inadmissible(session, given)
    if given.warranty_of is not None:
        _refuse_no_warranty(session, given.warranty_of, given.pair_id)
    pair = find_record(session, "pairs", {"pair_id": given.pair_id}) or {}
    works = (given.work, *given.more_works)
    asked = FreeDaysAsked(works, pair["construction"], given.by_post)
    named = given.expected_on or given.promised_on or promise
    calendar = booking_calendar(session, today, hold=True) if named else None
    promised = given.promised_on
    if promise and promised is None and calendar is not None:
        promised = calendar.first_promise(asked, given.expected_on)
    overruled = _overruled(calendar, asked, given.expected_on, promised, given.overrule)
    values = given.model_dump(exclude={"pair_id", "overrule"}) | works_columns(works)
    values["order_id"] = given.order_id or uuid4().hex
    redone = given.warranty_of is not None
    advised = advised or (not redone and came_by_advice(session, owner.pair_pk, today))
    values |= {"pair_pk": owner.pair_pk, "stage": "booked", "booked_on": today}
    values |= {"advised": advised, "promised_on": promised}
    order_pk = stored.insert_order(session, values)
    name_changed(order_id=values["order_id"], pair_id=given.pair_id)
    stored.add_event(session, order_pk, to_stage="booked", details=overruled)
    tell_of_booking(session, order_pk, clock)
    put_order_event(session, "order.booked", order_pk, clock.now())
    if given.price_minor is not None:
        put_order_event(session, "order.quoted", order_pk, clock.now())
    return describe(session, values["order_id"])


def _overruled(
    calendar: BookingCalendar | None,
    asked: FreeDaysAsked,
    expected: date | None,
    promised: date | None,
    reason: str | None,
    new: Collection[str] = DAYS,
) -> dict[str, Any]:
    """Return what the history keeps of a day that is taken though it is not free.

    Raises `DayNotFree` where there is no reason for it.
    """
    try:
        if calendar is not None:
            calendar.check(asked, expected, promised, new)
    except DayNotFree as full:
        if not reason or not reason.strip():
            raise
        return {"overruled": reason.strip(), "because": full.what}
    return {}


def _refuse_no_warranty(session: Session, order_id: str, pair_id: str) -> None:
    """Refuse to redo what is no finished work on this pair."""
    first = found_order(session, order_id)
    if first["pair_id"] != pair_id or first["stage"] not in WARRANTED:
        raise Refused(
            f"The order {order_id} is {first['stage']} and of the pair {first['pair_id']}.",
            where="warranty_of",
            accepted=f"an order of {pair_id} that is {' or '.join(WARRANTED)}",
            remedy="Name the order whose work is redone.",
        )


def _refuse_inadmissible(session: Session, given: NewOrder) -> None:
    """Refuse a work that the pair's construction or sole does not admit."""
    pair = find_record(session, "pairs", {"pair_id": given.pair_id})
    on = {"pair_id": given.pair_id, "removed_on": None}
    soles = list_records(session, "soles", equal=on, limit=9)
    if pair is None or not soles:
        return
    for work in (given.work, *given.more_works):
        why = admits(work, pair["construction"], soles[-1]["material"])
        if not why:
            continue
        raise Refused(
            f"{why[0].upper()}{why[1:]}.",
            where="work",
            accepted="a work that its construction and its sole admit",
            remedy="Choose another work, or correct the pair.",
        )


def amend(
    session: Session,
    order_id: str,
    values: Mapping[str, Any],
    versions: frozenset[int] | None,
    clock: Clock,
) -> dict[str, Any]:
    """Correct an order of one of `versions` (None = any); its stage stays. Return it.

    A day that is not free is taken where `values` have a reason in `overrule`.

    Raises `NotFound`, `StaleVersion`, `DayNotFree`, and `Refused` for a price without its currency.
    """
    order = _of_version(session, order_id, versions)
    values = dict(values)
    reason = values.pop("overrule", None)
    if {k: order[k] for k in values} == values:
        return describe(session, order_id)
    whole = order | values
    if (whole["price_minor"] is None) != (whole["currency"] is None):
        raise Refused(
            "The price and its currency are given together.",
            where="currency",
            accepted="both, or neither",
            remedy="Give both, or leave both empty.",
        )
    details = _moved(session, order, whole, clock, reason)
    if not stored.change_order(session, order["id"], order["version"], values):
        raise _stale(order["version"])
    tell_of_booking(session, order["id"], clock)
    if details:
        put_order_event(session, "order.moved", order["id"], clock.now())
        stage = order["stage"]
        stored.add_event(session, order["id"], from_stage=stage, to_stage=stage, details=details)
    if whole["price_minor"] is not None and whole["price_minor"] != order["price_minor"]:
        put_order_event(session, "order.quoted", order["id"], clock.now())
    name_changed(order_id=order_id, pair_id=order["pair_id"])
    return describe(session, order_id)


def _moved(
    session: Session,
    order: Mapping[str, Any],
    whole: Mapping[str, Any],
    clock: Clock,
    reason: str | None,
) -> dict[str, Any]:
    """Return what the history keeps of days that change. Raises `DayNotFree`."""
    moved = {
        name: [None if day is None else day.isoformat() for day in (order[name], whole[name])]
        for name in DAYS
        if order[name] != whole[name]
    }
    waits = order["stage"] in ("booked", "in_post")
    if not moved or not (waits or order["stage"] in ("received", "on_bench")):
        return {}
    pair = find_record(session, "pairs", {"pair_id": order["pair_id"]}) or {}
    owner = owner_of(session, "pair_id", order["pair_id"], lock=False)
    today = shop_today(session, clock, owner.time_zone if owner else "UTC")
    new = [name for name in moved if whole[name] is not None and whole[name] >= today]
    if not new:
        return {"moved": moved}
    calendar = booking_calendar(session, today, without=order["id"], hold=True)
    works = works_of(order["work"], order["more_works"])
    asked = FreeDaysAsked(works, pair["construction"], whole["by_post"])
    expected = whole["expected_on"] if waits else None
    kept = _overruled(calendar, asked, expected, whole["promised_on"], reason, new)
    return {"moved": moved} | kept


def remove(session: Session, order_id: str, versions: frozenset[int] | None, clock: Clock) -> None:
    """Delete an order with its audit, papers and photographs; what it logged stays.

    The customer's calendar is told where it shows a day that is still to come.

    Raises `NotFound`, `StaleVersion`.
    """
    order = _of_version(session, order_id, versions)
    withdraw_booking(session, order_id, clock)
    if not stored.remove_order(session, order["id"], order["version"]):
        raise _stale(order["version"])
    name_changed(order_id=order_id, pair_id=order["pair_id"])


def _of_version(session: Session, order_id: str, versions: frozenset[int] | None) -> dict[str, Any]:
    order = found_order(session, order_id, lock=True)
    if versions is not None and order["version"] not in versions:
        raise _stale(order["version"])
    return order


def _stale(version: int) -> StaleVersion:
    return StaleVersion(
        "Someone changed this order since it was read.",
        where="version",
        accepted=str(version),
        remedy="Read the order again and decide again.",
    )


def step(session: Session, order_id: str, move: Move, clock: Clock) -> dict[str, Any]:
    """Take an order to its next stage; return it.

    Raises `NotFound`, and `StaleVersion` when someone changed it since it was read. Raises
    `Conflict` for a step that is not possible from here, or a pair that is elsewhere. Raises
    `Refused` for what is missing or cannot be, and `MeasuresOut`.
    """
    order = found_order(session, order_id, lock=True)
    if move.version != order["version"]:
        raise StaleVersion(
            f"Someone took this order to {order['stage']} since it was read.",
            where="version",
            accepted=str(order["version"]),
            remedy="Read the order again and decide again.",
        )
    if move.to not in STEPS[order["stage"]]:
        can = ", ".join(STEPS[order["stage"]]) or "nowhere: it is closed"
        raise Conflict(
            f"An order that is {order['stage']} cannot become {move.to}.",
            where="to",
            accepted=can,
            remedy="Read the order and choose one of these.",
        )
    owner = owner_of(session, "pair_id", order["pair_id"], lock=True)
    today = shop_today(session, clock, owner.time_zone if owner else "UTC")
    on = move.on or today
    if not order["booked_on"] <= on <= today:
        raise Refused(
            f"on: {on} cannot be the day of this step.",
            where="on",
            accepted=f"{order['booked_on']} to {today}",
            remedy="Give the day on which it happened.",
        )
    work = Step(session, clock, order, move, on)
    changes, details = done_by(work)
    values = {"stage": move.to} | changes
    if move.worker:
        values["worker"] = move.worker
    if not stored.change_order(session, order["id"], move.version, values):
        raise StaleVersion(
            "Someone else took this step just now.",
            where="version",
            remedy="Read the order again.",
        )
    stored.add_event(
        session,
        order["id"],
        from_stage=order["stage"],
        to_stage=move.to,
        worker=move.worker or order["worker"],
        details={"on": on.isoformat()} | ({"note": move.note} if move.note else {}) | details,
    )
    if move.to == "cancelled":
        tell_of_booking(session, order["id"], clock)
    for kind in _events_of(move.to, by_post=values.get("by_post", order["by_post"])):
        put_order_event(session, kind, order["id"], clock.now())
    return describe(session, order_id)


def _events_of(stage: str, *, by_post: bool) -> list[str]:
    """Name the events of a step; a pair is ready when its owner may fetch it, or it is posted."""
    kinds = [f"order.{stage}"] if stage in ("cancelled", "received", "checked", "returned") else []
    ready = stage == ("posted_back" if by_post else "checked")
    return [*kinds, "order.ready"] if ready else kinds
