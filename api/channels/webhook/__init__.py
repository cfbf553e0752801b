"""Webhook.

How is a notice posted to the shop's own software, so that it can trust where it comes from?

A JSON body with `Solespan-Timestamp` and `Solespan-Signature: sha256=` the HMAC-SHA256 (RFC 2104),
in hex, of `timestamp.body` under the shop's key. The receiver compares it, refuses old timestamps,
and drops a message id it has seen.
"""

from __future__ import annotations

import hashlib
import hmac
import http.client
import json
from urllib.parse import urlsplit

from solespan.api.channels.addresses import HOOK
from solespan.api.channels.deadline import Deadline
from solespan.api.channels.entry import ChannelEntry
from solespan.api.channels.message import DeliveryError, Message
from solespan.api.channels.setup import ChannelSettings
from solespan.api.channels.webhook.connect import (
    INSIDE,
    AddressRefused,
    is_inside,
    post_to,
)

__all__ = ["ENTRY", "Webhook", "signature_of"]

TIMEOUT_S = 10.0  # for all of it: look-up, connection, and the head of the answer
_TRY_AGAIN = (408, 425, 429)


def signature_of(key: str, timestamp: str, body: bytes) -> str:
    """Return the signature of a body sent at a time."""
    signed = timestamp.encode() + b"." + body
    return "sha256=" + hmac.new(key.encode(), signed, hashlib.sha256).hexdigest()


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
        timestamp = self._clock.now().strftime("%Y-%m-%dT%H:%M:%SZ")
        headers = {
            "Content-Type": "application/json",
            "User-Agent": "solespan",
            "Idempotency-Key": f'"{message.notice_id}"',
            "Solespan-Timestamp": timestamp,
            "Solespan-Signature": signature_of(self._key, timestamp, body),
        }
        with Deadline(TIMEOUT_S) as deadline:
            try:
                status = post_to(
                    str(self._url), body, headers, deadline, allow_private=self._allow_private
                )
            except AddressRefused as refused:
                raise DeliveryError(str(refused), permanent=True) from None
            except (OSError, http.client.HTTPException, ValueError) as failure:
                late = f"the webhook did not answer within {TIMEOUT_S:g} s"
                away = f"the webhook could not be reached ({type(failure).__name__})"
                raise DeliveryError(late if deadline.over else away, permanent=False) from None
        if not 200 <= status < 300:
            again = status >= 500 or status in _TRY_AGAIN
            more = "; redirects are not followed" if 300 <= status < 400 else ""
            raise DeliveryError(f"the webhook answered {status}{more}", permanent=not again)

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
