"""Entry of a channel: all that the rest of the program knows of a way to write to a customer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from solespan.api.channels.addresses import AddressKind
from solespan.api.channels.message import Channel
from solespan.api.channels.retry import RFC_5321, RetryRule
from solespan.api.channels.setup import ChannelSettings

__all__ = ["ChannelEntry"]


@dataclass(frozen=True)
class ChannelEntry:
    """A way to write to a customer.

    name : str
        In rules, consents, rows and messages of the service.
    make : callable
        Makes the channel from settings and rules.
    word, note : str
        What pages call it, and what the form of the rules adds.
    address : AddressKind
        What it writes to.
    parts : tuple of str
        Which parts of the wording it sends: `subject`, `text`, `html`.
    on_paper : bool
        Whether it is read on paper: sent means that it stands on the list of letters.
    short : bool
        Whether its text is a few words and links, in the place of the shop's wording.
    retry : RetryRule
        When it is tried again.
    """

    name: str
    make: Callable[[ChannelSettings], Channel]
    word: str
    address: AddressKind
    note: str = ""
    parts: tuple[str, ...] = ("subject", "text")
    on_paper: bool = False
    short: bool = False
    retry: RetryRule = RFC_5321
