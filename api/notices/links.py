"""Signed links (HMAC).

What does a link in a notice hold, and how is it known to be ours, of one purpose and in time?

A token is a few packed numbers and their HMAC-SHA256 (RFC 2104), cut to 128 bits. It holds no name
and no address. It serves one purpose for one pair of one notice. It ends with its day, with the
notice, or with the secret.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import struct
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import UUID

__all__ = ["PURPOSES", "Link", "LinkExpired", "LinkForged", "form_token", "read_link", "sign_link"]

PURPOSES = ("unsubscribe", "book", "decline", "elsewhere", "check", "booking")
_PACKED = struct.Struct(">BI16sHI")  # purpose, tenant, notice, place of the pair, end in seconds
_MAC_BYTES = 16


class LinkForged(Exception):
    """The token is not one that was made with this secret."""


class LinkExpired(Exception):
    """The token was ours, and its time is over; `tenant` is the number of its shop."""

    def __init__(self, tenant: int) -> None:
        super().__init__()
        self.tenant = tenant


@dataclass(frozen=True)
class Link:
    """What a token says: its purpose, the shop's number, the notice, and which of its pairs."""

    purpose: str
    tenant: int
    notice_id: str
    place: int
    expires_at: datetime


def _mac(secret: str, use: bytes, packed: bytes) -> bytes:
    key = hmac.digest(secret.encode(), b"solespan " + use, hashlib.sha256)
    return hmac.digest(key, packed, hashlib.sha256)[:_MAC_BYTES]


def sign_link(link: Link, secret: str) -> str:
    """Return the token, of letters, digits, `-` and `_`."""
    packed = _PACKED.pack(
        PURPOSES.index(link.purpose),
        link.tenant,
        UUID(link.notice_id).bytes,
        link.place,
        int(link.expires_at.timestamp()),
    )
    whole = packed + _mac(secret, b"link", packed)
    return base64.urlsafe_b64encode(whole).decode().rstrip("=")


def read_link(token: str, secret: str, now: datetime) -> Link:
    """Return what a token says. Raises `LinkForged`, `LinkExpired`."""
    try:
        whole = base64.b64decode(token + "=" * (-len(token) % 4), altchars=b"-_", validate=True)
    except ValueError:
        raise LinkForged from None
    packed, mac = whole[:-_MAC_BYTES], whole[-_MAC_BYTES:]
    right = len(packed) == _PACKED.size and hmac.compare_digest(mac, _mac(secret, b"link", packed))
    # the last letter of a token has bits to spare: only one spelling is ours
    if not right or base64.urlsafe_b64encode(whole).decode().rstrip("=") != token:
        raise LinkForged
    purpose, tenant, notice, place, ends = _PACKED.unpack(packed)
    expires_at = datetime.fromtimestamp(ends, UTC)
    if now > expires_at:
        raise LinkExpired(tenant)
    return Link(PURPOSES[purpose], tenant, UUID(bytes=notice).hex, place, expires_at)


def form_token(token: str, secret: str) -> str:
    """Return what a form of the token's page must send along: another site cannot know it."""
    return _mac(secret, b"form", token.encode()).hex()
