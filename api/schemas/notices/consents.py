"""HTTP schemas of consents: which fields have consents to notices, and addresses that bounced?"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Self

from pydantic import Field, StringConstraints, model_validator

from solespan.api.channels import CHANNELS
from solespan.api.schemas.fields import KnownId, PlainDate
from solespan.api.schemas.notices.notices import ChannelName, Line
from solespan.api.schemas.rack.records import Answer, Message

__all__ = [
    "BounceGiven",
    "Bounced",
    "ConsentGiven",
    "ConsentPage",
    "ConsentState",
    "ConsentWithdrawn",
]

_KEPT_WITH_CONSENT = [e for e in CHANNELS.values() if e.address.kept == "consent"]
KnownAddress = Annotated[
    str,
    StringConstraints(
        min_length=1,
        max_length=500,
        strip_whitespace=True,
        pattern=r"^[^\x00-\x09\x0b\x0c\x0e-\x1f\x7f]*$",
    ),
]
StoppedAddress = Annotated[
    str, StringConstraints(min_length=3, max_length=320, pattern=r"^[^\s\x00](?:.*[^\s\x00])?$")
]


class ConsentGiven(Message):
    """A customer agreed to be written to."""

    wearer_id: KnownId = Field(description="the customer. Unit: none (identifier)")
    channel: ChannelName = Field(description="by which way. Unit: none (word)")
    how: Annotated[Line, StringConstraints(min_length=1)] = Field(
        description="how it was given: on paper, at the counter, ... Unit: none (text)"
    )
    by: Annotated[Line, StringConstraints(min_length=1)] = Field(
        description="who took it. Unit: none (text)"
    )
    on: PlainDate | None = Field(
        default=None, description="day it was given; left out = today. Unit: calendar date"
    )
    address: KnownAddress | None = Field(
        default=None,
        description="where this channel writes to, if the consent keeps it: "
        + "; ".join(f"{e.name}, {e.address.accepted}" for e in _KEPT_WITH_CONSENT)
        + "; replaced where a consent holds already. Unit: none (text)",
    )

    @model_validator(mode="after")
    def _address_of_its_kind(self) -> Self:
        if self.address is None:
            return self
        entry = CHANNELS[self.channel]
        if entry not in _KEPT_WITH_CONSENT:
            names = " or ".join(e.name for e in _KEPT_WITH_CONSENT)
            raise ValueError(f"an address is written down with a consent to {names} only")
        self.address = entry.address.tidy(self.address)
        if not entry.address.usable(self.address):
            raise ValueError(f"the address cannot be one; accepted: {entry.address.accepted}")
        return self


class ConsentWithdrawn(Message):
    """A customer no longer agrees."""

    wearer_id: KnownId = Field(description="the customer. Unit: none (identifier)")
    channel: ChannelName = Field(description="by which way. Unit: none (word)")
    how: Annotated[Line, StringConstraints(min_length=1)] = Field(
        default="told the shop", description="how. Unit: none (text)"
    )


class ConsentState(Answer):
    """One consent, with how it was given and whether it still holds."""

    wearer_id: str = Field(description="the customer. Unit: none (identifier)")
    channel: str = Field(description="by which way. Unit: none (word)")
    given_at: dt.datetime = Field(description="when it was given. Unit: instant, ISO 8601")
    given_how: str = Field(description="how. Unit: none (text)")
    given_by: str = Field(description="who took it. Unit: none (text)")
    withdrawn_at: dt.datetime | None = Field(
        description="when it was withdrawn; null = it holds. Unit: instant, ISO 8601"
    )
    withdrawn_how: str | None = Field(description="how. Unit: none (text)")
    address: str | None = Field(
        description="where this way writes to; null = not known, or not kept with the consent. "
        "Unit: none (text)"
    )


class ConsentPage(Answer):
    """Consents of one customer, newest first."""

    items: list[ConsentState] = Field(description="the consents. Unit: none (list)")


class BounceGiven(Message):
    """An address that takes no notices."""

    address: StoppedAddress = Field(description="the address. Unit: none (address)")
    channel: ChannelName = Field(
        default="mail", description="the way that it is of. Unit: none (word)"
    )
    reason: Line = Field(default="it bounced", description="what the server said. Unit: none")

    @model_validator(mode="after")
    def _address_of_its_kind(self) -> Self:
        kind = CHANNELS[self.channel].address
        self.address = kind.tidy(self.address)
        if not kind.usable(self.address):
            raise ValueError(f"the address cannot be one; accepted: {kind.accepted}")
        return self


class Bounced(Answer):
    """What became of the address: nothing is sent there any more, or again."""

    stopped: bool = Field(description="whether nothing is sent there. Unit: true or false")
    customers: int = Field(description="how many have this address. Unit: customers")
