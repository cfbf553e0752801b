"""Channels: which ways to write to a customer are there?

A channel is a folder beside this file and a line in `CHANNELS`. What each needs of the settings and
rules stands in `ChannelSettings`.
"""

from __future__ import annotations

from collections.abc import Callable

from solespan.api.notices.channels.mail import Mail
from solespan.api.notices.channels.print_list import PrintList
from solespan.api.notices.channels.setup import ChannelSettings
from solespan.api.notices.channels.webhook import Webhook
from solespan.api.notices.message import Channel

__all__ = ["CHANNELS", "ChannelSettings"]

CHANNELS: dict[str, Callable[[ChannelSettings], Channel]] = {
    "mail": Mail,
    "webhook": Webhook,
    "print": PrintList,
}
