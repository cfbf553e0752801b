"""HTTP schemas of hooks: what does the service post to a shop's own software?"""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field

from solespan.api.schemas.rack.records import Answer

__all__ = [
    "AnswerEvent",
    "BandEvent",
    "NoticeHook",
    "NoticeHookPair",
    "OrderEvent",
    "SoleEvent",
]


class NoticeHookPair(Answer):
    """One pair of a notice, in the words of the notice."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    label: str = Field(description="what its owner calls it. Unit: none (text)")
    when: str = Field(description="when it needs a new sole. Unit: none (text)")
    sure: str = Field(description="how sure that is. Unit: none (text)")
    bring_by: str = Field(description="when to bring it; empty = not said. Unit: none (text)")
    stop_wearing: bool = Field(description="whether to stop wearing it. Unit: true or false")
    first_foot: str = Field(description="the foot that is due first, or empty. Unit: none (word)")
    book_link: str = Field(description="the customer books work. Unit: none (address)")
    check_link: str = Field(description="the customer asks for a check. Unit: none (address)")
    elsewhere_link: str = Field(description="the work is done elsewhere. Unit: none (address)")
    decline_link: str = Field(description="the customer wants no new sole. Unit: none (address)")


class NoticeHook(Answer):
    """One notice to one customer; the same at every attempt."""

    kind: Literal["notice"] = Field(description="always notice. Unit: none (word)")
    notice_id: str = Field(description="stable identifier. Unit: none (identifier)")
    message_id: str = Field(description="drop one that came before. Unit: none (identifier)")
    made_at: dt.datetime = Field(description="when it was written. Unit: instant, ISO 8601")
    wearer_id: str = Field(description="the customer. Unit: none (identifier)")
    name: str = Field(description="the customer's name, or empty. Unit: none (text)")
    subject: str = Field(description="one line. Unit: none (text)")
    text: str = Field(description="the notice as plain text. Unit: none (text)")
    unsubscribe: str = Field(description="ends all notices. Unit: none (address)")
    pairs: list[NoticeHookPair] = Field(description="the pairs that it is about. Unit: none (list)")


class _Event(Answer):
    type: str = Field(description="the kind of event. Unit: none (word)")
    timestamp: dt.datetime = Field(description="when it happened. Unit: instant, ISO 8601")


class _OfPair(Answer):
    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    wearer_id: str = Field(description="its owner. Unit: none (identifier)")


class OrderEventData(_OfPair):
    """An order as it is after the event."""

    order_id: str = Field(description="the order. Unit: none (identifier)")
    work: str = Field(description="kind of work. Unit: none (word)")
    stage: str = Field(description="where it is. Unit: none (word)")
    expected_on: dt.date | None = Field(description="day expected. Unit: calendar date, ISO 8601")
    promised_on: dt.date | None = Field(description="day promised. Unit: calendar date, ISO 8601")
    by_post: bool = Field(description="comes by post. Unit: true or false")
    price_minor: int | None = Field(description="price. Unit: minor unit of currency")
    currency: str | None = Field(description="ISO 4217 code. Unit: none (code)")
    works: list[str] | None = Field(
        default=None, description="works of the approved way. Unit: none (words)"
    )


class OrderEvent(_Event):
    """Something happened to an order."""

    data: OrderEventData = Field(description="the order. Unit: none (object)")


class SoleEventData(_OfPair):
    """A new sole that took the place of another."""

    sole_id: str = Field(description="the sole. Unit: none (identifier)")
    fitted_on: dt.date = Field(description="day it was fitted. Unit: calendar date, ISO 8601")
    material: str = Field(description="what it is made of. Unit: none (word)")


class SoleEvent(_Event):
    """A pair has a new sole."""

    data: SoleEventData = Field(description="the sole. Unit: none (object)")


class AnswerEventData(_OfPair):
    """A customer's answer to a notice."""

    notice_id: str = Field(description="the notice. Unit: none (identifier)")
    answer: str = Field(description="booked, declined, elsewhere or checked. Unit: none (word)")


class AnswerEvent(_Event):
    """A customer answered a notice."""

    data: AnswerEventData = Field(description="the answer. Unit: none (object)")


class BandEventData(_OfPair):
    """A pair that passed into another band."""

    before: str = Field(alias="from", description="the band before. Unit: none (word)")
    to: str = Field(description="the band now. Unit: none (word)")


class BandEvent(_Event):
    """A forecast passed into another band."""

    data: BandEventData = Field(description="the bands. Unit: none (object)")
