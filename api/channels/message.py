"""Channel message.

What is handed to a channel, what does a channel answer, and what becomes of a failure?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol, runtime_checkable

__all__ = ["Channel", "DeliveryError", "Message", "Picture"]


@dataclass(frozen=True)
class Picture:
    """A picture that stands in the HTML part of a mail, by its `cid` (RFC 2392)."""

    cid: str
    media_type: str
    content: bytes


@dataclass(frozen=True)
class Message:
    """One notice to one customer by one channel; the same at every attempt.

    message_id : of RFC 5322, with angle brackets.
    unsubscribe_url : https, or http on loopback; empty = it answers what the customer asked for.
    address : of the channel's kind, as it is now; None = not known, or the shop's own.
    calendar : an iCalendar file that goes along by mail, with its method; empty = none.
    pairs : for each pair `pair_id`, `label`, `when`, `sure`, `bring_by` and its links.
    """

    message_id: str
    notice_id: str
    made_at: datetime
    customer_id: str
    customer_name: str
    address: str | None
    subject: str
    text: str
    html: str
    unsubscribe_url: str
    pairs: Sequence[Mapping[str, Any]]
    calendar: str = ""
    calendar_method: str = ""
    pictures: Sequence[Picture] = ()


class DeliveryError(Exception):
    """A message was not taken; nothing of it is known to have arrived.

    Parameters
    ----------
    reason : str
        For the shop's people; holds no customer's name or address.
    permanent : bool
        Whether trying again is of no use.
    bad_address : bool
        Whether the address itself was refused, so that nothing is to be sent there again.
    """

    def __init__(self, reason: str, *, permanent: bool, bad_address: bool = False) -> None:
        super().__init__(reason)
        self.reason = reason
        self.permanent = permanent
        self.bad_address = bad_address


@runtime_checkable
class Channel(Protocol):
    """One way to write to a customer."""

    needs_address: bool  # whether a customer without an address of its kind cannot be reached

    @property
    def missing(self) -> str:
        """What must be set before anything can be sent; empty = nothing."""

    def send(self, message: Message) -> None:
        """Hand a message over. Raises `DeliveryError`."""

    def close(self) -> None:
        """Let go of what is open; sending again opens it once more."""
