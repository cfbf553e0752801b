"""Print list: how does a notice become a letter: it goes on the list that a person prints.

Handing over means that the letter stands on the print list; folding and posting is the shop's.
"""

from __future__ import annotations

from solespan.api.notices.channels.setup import ChannelSettings
from solespan.api.notices.message import DeliveryError, Message

__all__ = ["PrintList"]


class PrintList:
    """Letters, one page each."""

    needs_address = False

    def __init__(self, setup: ChannelSettings) -> None:
        del setup

    @property
    def missing(self) -> str:
        """Say what must be set: nothing."""
        return ""

    def send(self, message: Message) -> None:
        """Take the letter; the outbox row that holds its text is the list."""
        if not message.text.strip():
            raise DeliveryError("the letter is empty", permanent=True)

    def close(self) -> None:
        """Close nothing."""
