"""HTTP schemas of customer search: what is looked for, and which customers have it?"""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from pydantic import Field, StringConstraints

from solespan.api.schemas.rack.records import Answer, Message

__all__ = ["CustomerSearch", "FoundCustomerPage"]

Words = Annotated[
    str, StringConstraints(max_length=200, strip_whitespace=True, pattern=r"^[^\x00]*$")
]


class CustomerSearch(Message):
    """What is looked for."""

    words: Words = Field(
        default="",
        description="a name, telephone number, e-mail address, ticket or pair; empty = all "
        "customers. Unit: none (text)",
    )
    page: int = Field(default=1, ge=1, le=1_000_000, description="which page. Unit: pages")


class FoundOrder(Answer):
    """An order that is open."""

    order_id: str = Field(description="the order. Unit: none (identifier)")
    ticket: int | None = Field(description="its short number; null = none. Unit: none (number)")
    stage: str = Field(description="where it stands. Unit: none (word)")
    promised_on: dt.date | None = Field(
        description="the day that was promised; null = none. Unit: calendar date, ISO 8601"
    )


class FoundPair(Answer):
    """A pair of a customer."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    label: str | None = Field(description="what it is called; null = not said. Unit: none (text)")
    order: FoundOrder | None = Field(description="its open order; null = none. Unit: none (object)")


class FoundCustomer(Answer):
    """A customer who was found, with pairs."""

    wearer_id: str = Field(description="the customer. Unit: none (identifier)")
    name: str | None = Field(description="the name; null = not known. Unit: none (text)")
    phone: str | None = Field(description="the telephone; null = not known. Unit: none (text)")
    email: str | None = Field(description="the e-mail; null = not known. Unit: none (text)")
    pairs: list[FoundPair] = Field(description="the pairs, newest first. Unit: none (list)")


class FoundCustomerPage(Answer):
    """One page of customers: the ticket's first, then by name."""

    items: list[FoundCustomer] = Field(description="the customers. Unit: none (list)")
    page: int = Field(description="which page this is. Unit: pages")
    more: bool = Field(description="whether a next page has any. Unit: true or false")
