"""SMS: how does a notice reach a telephone: your own hook takes number and text, and sends it.

The post is signed as the webhook's is. The text is in GSM 03.38 and at most two messages long.
"""

from __future__ import annotations

from solespan.api.channels.addresses import TELEPHONE
from solespan.api.channels.entry import ChannelEntry
from solespan.api.channels.message import DeliveryError, Message
from solespan.api.channels.setup import ChannelSettings
from solespan.api.channels.sms.gsm import count_segments, to_gsm
from solespan.api.channels.webhook import Webhook

__all__ = ["ENTRY", "MOST_SEGMENTS", "Sms"]

MOST_SEGMENTS = 2


class Sms(Webhook):
    """A signed POST of number and text to the SMS hook in the shop's rules."""

    needs_address = True

    def __init__(self, setup: ChannelSettings) -> None:
        super().__init__(setup)
        self._url = setup.rules.sms_url

    @property
    def missing(self) -> str:
        """Say what must be set."""
        return super().missing if self._url else "Give the address of your SMS hook in the rules."

    def send(self, message: Message) -> None:
        """Post one message. Raises `DeliveryError`."""
        if message.address is None or not TELEPHONE.usable(message.address):
            raise DeliveryError(
                "the number cannot be one: it needs its country's code",
                permanent=True,
                bad_address=True,
            )
        if count_segments(to_gsm(message.text.strip())) > MOST_SEGMENTS:
            why = f"the text is longer than {MOST_SEGMENTS} messages"
            raise DeliveryError(why, permanent=True)
        super().send(message)

    def payload_of(self, message: Message) -> dict[str, object]:
        """Return what is posted: to whom, which text, and in how many messages."""
        text = to_gsm(message.text.strip())
        return {
            "kind": "sms",
            "notice_id": message.notice_id,
            "message_id": message.message_id,
            "made_at": message.made_at.isoformat(),
            "wearer_id": message.customer_id,
            "to": message.address,
            "text": text,
            "segments": count_segments(text),
        }


ENTRY = ChannelEntry(
    "sms",
    Sms,
    "SMS",
    TELEPHONE,
    note="a short text, which your own hook sends",
    parts=("text",),
    short=True,
)
