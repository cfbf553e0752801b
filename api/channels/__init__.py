"""Register of channels: which ways to write to a customer are there?

A channel is a folder beside this file, whose `ENTRY` says all that is said of it, and a line here.
The order is that in which forms and pages list them.
"""

from __future__ import annotations

from solespan.api.channels import mail, print_list, sms, webhook
from solespan.api.channels.entry import ChannelEntry
from solespan.api.channels.setup import ChannelSettings

__all__ = ["CHANNELS", "ON_PAPER", "ChannelEntry", "ChannelSettings"]

CHANNELS: dict[str, ChannelEntry] = {
    entry.name: entry
    for entry in (
        mail.ENTRY,
        webhook.ENTRY,
        print_list.ENTRY,
        sms.ENTRY,
    )
}
ON_PAPER: tuple[str, ...] = tuple(e.name for e in CHANNELS.values() if e.on_paper)
