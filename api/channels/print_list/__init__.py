"""Print list: how does a notice become a letter: it goes on the list that a person prints.

Handing over means that the letter stands on the print list; folding and posting is the shop's.
"""

from __future__ import annotations

from solespan.api.channels.addresses import STREET
from solespan.api.channels.entry import ChannelEntry
from solespan.api.channels.message import DeliveryError, Message
from solespan.api.channels.setup import ChannelSettings

__all__ = ["ENTRY", "PrintList"]


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


ENTRY = ChannelEntry(
    "print", PrintList, "letter", STREET, note="you print and post it", on_paper=True
)
