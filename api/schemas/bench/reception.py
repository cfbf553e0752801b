"""HTTP schema of a reception: what is asked when somebody comes in with a pair?"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from solespan.api.schemas.bench.orders import OVERRULE, Money, Overrule, Text, Work
from solespan.api.schemas.fields import KnownId, NewId, PlainDate
from solespan.api.schemas.rack.records import Message
from solespan.forecast.values import TEXT_PATTERNS

__all__ = ["PRICES", "Reception"]

PRICES = ("list", "later")
Short = Annotated[
    str,
    StringConstraints(
        max_length=200, pattern=r"^[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f][^\x00-\x1f\x7f]*$"
    ),
]
Phone = Annotated[
    str,
    StringConstraints(pattern=TEXT_PATTERNS["phone"][0], max_length=TEXT_PATTERNS["phone"][1]),
]


class Reception(Message):
    """A pair that somebody brings in, known or not."""

    order_id: NewId | None = Field(
        default=None,
        description="stable identifier of the order; left out = the service makes one. "
        "Unit: none (identifier)",
    )
    pair_id: KnownId | None = Field(
        default=None, description="a pair that is known. Unit: none (identifier)"
    )
    wearer_id: KnownId | None = Field(
        default=None, description="a customer that is known. Unit: none (identifier)"
    )
    name: Short | None = Field(default=None, description="a new customer's name. Unit: none (text)")
    phone: Phone | None = Field(
        default=None, description="a new customer's telephone number. Unit: none (text)"
    )
    what: Short | None = Field(
        default=None,
        description="a new pair and what it needs, such as `brown brogue, needs a sole`. "
        "Unit: none (text)",
    )
    work: Work | None = Field(
        default=None,
        description="kind of work; left out = read from `what`, else a full sole. "
        "Unit: none (word)",
    )
    price: Literal[PRICES] = Field(  # type: ignore[valid-type]
        default="list",
        description="list = that of the shop's price list, later = to be quoted. Unit: none (word)",
    )
    price_minor: Money | None = Field(
        default=None, description="another price agreed. Unit: minor unit of the shop's currency"
    )
    promised_on: PlainDate | None = Field(
        default=None,
        description="day promised; left out = the first day that the bench can keep. "
        "Unit: calendar date, ISO 8601",
    )
    overrule: Overrule | None = Field(default=None, description=OVERRULE)
    here: bool = Field(default=True, description="the pair stays here now. Unit: true or false")
    note: Text | None = Field(default=None, description="what to know. Unit: none (text)")

    @model_validator(mode="after")
    def _somebody(self) -> Reception:
        if self.pair_id is None and not (self.wearer_id or self.name or self.phone):
            raise ValueError("give a name or a telephone number")
        if self.pair_id is None and self.what is None:
            raise ValueError("say which pair it is, such as brown brogue")
        return self
