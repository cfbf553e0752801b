"""Booking messages service: which messages does a change of a booked day ask for?

They are written in the transaction of the change and sent later. A confirmation and a cancellation
each raise the sequence of the calendar entry (iTIP, RFC 5546, section 2.1.4). The reminder waits
until the morning before the day, in the shop's time zone.
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.services.shop_choices import shop_zone
from solespan.api.storage.bench import booking_messages as stored
from solespan.forecast.bench.visits import works_of

__all__ = ["tell_of_booking", "tell_untold", "withdraw_booking"]

REMINDED_AT = time(9)
_OVERTAKEN = "the booking changed before it was sent"
_PAST = "the day is past"
_NO_ADDRESS = "the customer has no mail address"


def tell_of_booking(session: Session, order_pk: int, clock: Clock) -> None:
    """Write the messages that an order's day asks for now; without news nothing is written."""
    order = stored.booked_order(session, order_pk)
    told = [m for m in stored.messages_of(session, order["order_id"]) if m["kind"] != "reminder"]
    known = told[-1]["day"] if told and told[-1]["kind"] == "request" else None
    day = order["expected_on"] if order["stage"] in stored.WAITING else None
    if day == known or order["stage"] not in (*stored.WAITING, "cancelled"):
        return
    if day is None:
        _withdraw(session, told, order_pk, clock)
        return
    stored.cancel_waiting(session, order["order_id"], _OVERTAKEN)
    now, zone = clock.now(), ZoneInfo(shop_zone(session, order["time_zone"]))
    silent = _NO_ADDRESS if order["email"] is None else None
    if day < now.astimezone(zone).date():
        silent = _PAST
    entry = {
        "wearer_pk": order["wearer_pk"],
        "order_pk": order_pk,
        "order_id": order["order_id"],
        "sequence": 0 if not told else told[-1]["sequence"] + 1,
        "payload": {
            "pair": order["label"] or order["pair_id"],
            "works": works_of(order["work"], order["more_works"]),
            "by_post": order["by_post"],
        },
        "day": day,
        "state": "pending" if silent is None else "cancelled",
        "problem": silent,
    }
    request = {"kind": "request", "made_at": now, "next_try_at": now}
    stored.add_message(session, entry | request)
    remind_at = datetime.combine(day - timedelta(days=1), REMINDED_AT, zone).astimezone(UTC)
    if remind_at > now and silent is None:
        reminder = {"kind": "reminder", "made_at": remind_at, "next_try_at": remind_at}
        stored.add_message(session, entry | reminder)


def withdraw_booking(session: Session, order_id: str, clock: Clock) -> None:
    """Cancel in the customer's calendar the day of an order that is deleted."""
    told = [m for m in stored.messages_of(session, order_id) if m["kind"] != "reminder"]
    if told and told[-1]["kind"] == "request":
        _withdraw(session, told, None, clock)


def tell_untold(session: Session, clock: Clock) -> None:
    """Write the messages of bookings that were restored, undone, or deleted with their pair."""
    for change in stored.untold_changes(session):
        if change["order_pk"] is None:
            withdraw_booking(session, change["order_id"], clock)
        else:
            tell_of_booking(session, change["order_pk"], clock)


def _withdraw(
    session: Session, told: list[dict[str, Any]], order_pk: int | None, clock: Clock
) -> None:
    """Write the cancellation of the day that was told last, to whom it was told."""
    last, now = told[-1], clock.now()
    stored.cancel_waiting(session, last["order_id"], _OVERTAKEN)
    why = None if any(one["state"] == "sent" for one in told) else _OVERTAKEN
    if last["day"] < now.date() - timedelta(days=1):  # past in every time zone
        why = _PAST
    same = {name: last[name] for name in ("wearer_pk", "order_id", "day", "payload")}
    cancel = {
        "order_pk": order_pk,
        "kind": "cancel",
        "sequence": last["sequence"] + 1,
        "state": "pending" if why is None else "cancelled",
        "problem": why,
        "made_at": now,
        "next_try_at": now,
    }
    stored.add_message(session, same | cancel)
