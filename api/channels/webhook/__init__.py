"""Webhook.

How is a notice posted to the shop's own software, so that it can trust where it comes from?

It is a JSON body, signed as events are: see `api.channels.webhook.signed_post`.
"""

from __future__ import annotations

import json
from urllib.parse import urlsplit

from solespan.api.channels.addresses import HOOK
from solespan.api.channels.entry import ChannelEntry
from solespan.api.channels.message import Message
from solespan.api.channels.setup import ChannelSettings
from solespan.api.channels.webhook.connect import INSIDE, is_inside
from solespan.api.channels.webhook.signed_post import post_signed, signed_headers

__all__ = ["ENTRY", "Webhook"]


class Webhook:
    """A signed POST to the address in the shop's rules."""

    needs_address = False

    def __init__(self, setup: ChannelSettings) -> None:
        self._url = setup.rules.webhook_url
        self._key = setup.webhook_key
        self._clock = setup.clock
        self._allow_private = setup.settings.webhook_private_addresses

    @property
    def missing(self) -> str:
        """Say what must be set, or what can be known to be refused before a name is looked up."""
        if not self._url:
            return "Give the webhook's address in the rules."
        inside = not self._allow_private and is_inside(urlsplit(self._url).hostname or "")
        return f"{INSIDE[0].upper()}{INSIDE[1:]}." if inside else ""

    def send(self, message: Message) -> None:
        """Post one notice. Raises `DeliveryError`."""
        body = json.dumps(self.payload_of(message), ensure_ascii=False).encode()
        signed = signed_headers([self._key], message.notice_id, self._clock.now(), body)
        post_signed(str(self._url), body, signed, allow_private=self._allow_private)

    def close(self) -> None:
        """Close nothing: each post has its own connection."""

    def payload_of(self, message: Message) -> dict[str, object]:
        """Return what is posted."""
        return {
            "kind": "notice",
            "notice_id": message.notice_id,
            "message_id": message.message_id,
            "made_at": message.made_at.isoformat(),
            "wearer_id": message.customer_id,
            "name": message.customer_name,
            "subject": message.subject,
            "text": message.text,
            "unsubscribe": message.unsubscribe_url,
            "pairs": [dict(pair) for pair in message.pairs],
        }


ENTRY = ChannelEntry(
    "webhook",
    Webhook,
    "your own software",
    HOOK,
    note="a signed message to an address of yours",
)
