"""Bounce report (RFC 3464).

What does a mail server's report say that came back: which of our mails, to whom, and why not?

RFC 3464: a report holds a part `message/delivery-status`, and the mail it is about or its headers.
"""

from __future__ import annotations

from dataclasses import dataclass
from email import message_from_bytes
from email.errors import MessageError
from email.message import Message
from email.policy import default

__all__ = ["BounceReport", "read_report"]

MOST_BYTES = 10 * 1024 * 1024
_RETURNED = ("message/rfc822", "text/rfc822-headers", "message/global", "message/global-headers")


@dataclass(frozen=True)
class BounceReport:
    """`message_id` of our mail, and for each address that failed for good its status (RFC 3463)."""

    message_id: str
    failed: dict[str, str]


def read_report(raw: bytes) -> BounceReport | None:
    """Read a mail; None = it is no report of a failure that names the mail it is about."""
    if len(raw) > MOST_BYTES:
        return None
    try:
        mail = message_from_bytes(raw, policy=default)
        parts = list(mail.walk())
    except (MessageError, ValueError, LookupError):
        return None
    failed: dict[str, str] = {}
    message_id = ""
    for part in parts:
        kind = part.get_content_type()
        if kind in ("message/delivery-status", "message/global-delivery-status"):
            for block in _blocks(part):
                failed |= _failure(block)
        elif kind in _RETURNED and not message_id:
            message_id = _message_id(part)
    return BounceReport(message_id, failed) if message_id and failed else None


def _blocks(part: Message) -> list[Message]:
    content = part.get_payload()
    found = content if isinstance(content, list) else []
    return [block for block in found if isinstance(block, Message)]


def _failure(block: Message) -> dict[str, str]:
    status = _value(block, "Status").split(" ")[0]
    if _value(block, "Action").lower() != "failed" or not status.startswith("5."):
        return {}
    named = (_value(block, "Original-Recipient"), _value(block, "Final-Recipient"))
    addresses = [text.partition(";")[2].strip().strip("<>").lower() for text in named]
    return {address: status for address in addresses if address}


def _message_id(part: Message) -> str:
    content = part.get_payload()
    if isinstance(content, list):
        inner = content[0] if content else None
        return _value(inner, "Message-ID") if isinstance(inner, Message) else ""
    decoded = part.get_payload(decode=True)
    headers = message_from_bytes(decoded if isinstance(decoded, bytes) else b"")
    return _value(headers, "Message-ID")


def _value(part: Message, name: str) -> str:
    try:
        return " ".join(str(part.get(name, "")).split())
    except (MessageError, ValueError, LookupError):  # a header that cannot be read is as none
        return ""
