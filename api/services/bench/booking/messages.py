"""Booking messages service: which messages does a change of a booked day ask for?

They are written in the transaction of the change and sent later. A confirmation and a cancellation
each raise the sequence of the calendar entry (iTIP, RFC 5546, section 2.1.4). The reminder waits
until the morning before the day, in the shop's time zone.
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.services.shop_choices import shop_zone
from solespan.api.storage.bench import booking_messages as stored
from solespan.forecast.bench.visits import works_of

__all__ = ["WAITING", "tell_of_booking"]

WAITING = ("booked", "in_post")  # stages in which the day is still to come
REMINDED_AT = time(9)
_OVERTAKEN = "the booking changed before it was sent"
_NO_ADDRESS = "the customer has no mail address"


def tell_of_booking(session: Session, order_pk: int, clock: Clock) -> None:
    """Write the messages that an order's day asks for now; without news nothing is written."""
    order, told = stored.booked_order(session, order_pk), stored.messages_of(session, order_pk)
    calendar = [one for one in told if one["kind"] != "reminder"]
    last = calendar[-1] if calendar else None
    known = last["day"] if last is not None and last["kind"] == "request" else None
    day = order["expected_on"] if order["stage"] in WAITING else None
    if day == known or order["stage"] not in (*WAITING, "cancelled"):
        return
    stored.cancel_waiting(session, order_pk, _OVERTAKEN)
    never_sent = not any(one["state"] == "sent" for one in calendar)
    now = clock.now()
    common = {
        "order_pk": order_pk,
        "sequence": 0 if last is None else last["sequence"] + 1,
        "payload": {
            "pair": order["label"] or order["pair_id"],
            "works": works_of(order["work"], order["more_works"]),
            "by_post": order["by_post"],
        },
    }
    silent = _NO_ADDRESS if order["email"] is None else None
    if day is None:
        why = silent or (_OVERTAKEN if never_sent else None)
        state = "pending" if why is None else "cancelled"
        entry = {"kind": "cancel", "day": known, "state": state, "problem": why}
        stored.add_message(session, common | entry | {"made_at": now, "next_try_at": now})
        return
    state = "pending" if silent is None else "cancelled"
    entry = {"day": day, "state": state, "problem": silent}
    request = {"kind": "request", "made_at": now, "next_try_at": now}
    stored.add_message(session, common | entry | request)
    zone = ZoneInfo(shop_zone(session, order["time_zone"]))
    remind_at = datetime.combine(day - timedelta(days=1), REMINDED_AT, zone).astimezone(UTC)
    if remind_at > now and silent is None:
        reminder = {"kind": "reminder", "made_at": remind_at, "next_try_at": remind_at}
        stored.add_message(session, common | entry | reminder)
