"""Web push (RFC 8030).

How does a message reach a browser that is closed, so that only this browser can read it?

The text is encrypted for one browser (RFC 8291). The push service learns by a signature who sends
(RFC 8292), and nothing of the text. Its address comes from the browser, so it is judged as a
webhook's is, and the whole conversation has one deadline.
"""

from __future__ import annotations

import base64
import binascii
import http.client
import os
from dataclasses import dataclass
from datetime import datetime, timedelta
from urllib.parse import SplitResult, urlsplit

import http_ece
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from py_vapid import Vapid02

from solespan.api.channels.deadline import Deadline
from solespan.api.channels.message import DeliveryError
from solespan.api.channels.webhook.connect import AddressRefused, is_inside, post_to

__all__ = ["PushSender", "Subscription", "fault_of", "new_vapid_key", "public_key_of"]

TIMEOUT_S = 10.0
TTL = timedelta(days=7)  # as long as until the next reminder
SIGNED_FOR = timedelta(hours=12)  # RFC 8292, section 2: at most 24 hours
MOST_TEXT_BYTES = 3000  # RFC 8030, 7.2: every service takes 4096 bytes, with what encryption adds
KEY_BYTES, AUTH_BYTES, UNCOMPRESSED = 65, 16, 4
LONGEST_ENDPOINT = 1000
_GONE = (404, 410)  # RFC 8030, section 7.3: the subscription is over
_TRY_AGAIN = (408, 425, 429)


@dataclass(frozen=True)
class Subscription:
    """Where a browser's push service is, and the browser's keys, in base64url."""

    endpoint: str
    p256dh: str
    auth: str


def fault_of(subscription: Subscription, *, allow_private: bool) -> str:
    """Say why a subscription cannot be used; empty when it can."""
    parts = _split(subscription.endpoint)
    secure = parts is not None and (parts.scheme == "https" or allow_private)
    if parts is None or not secure or len(subscription.endpoint) > LONGEST_ENDPOINT:
        return "the push service has no https address"
    if not allow_private and is_inside(parts.hostname or ""):
        return "the push service lies inside this network"
    key, auth = _bytes(subscription.p256dh), _bytes(subscription.auth)
    if len(key) != KEY_BYTES or key[0] != UNCOMPRESSED or len(auth) != AUTH_BYTES:
        return "the browser's keys are not those of a push subscription"
    try:
        ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), key)
    except (ValueError, UnsupportedAlgorithm):
        return "the browser's key is no point of its curve"
    return ""


def new_vapid_key() -> str:
    """Make a private key that signs for this service, in base64url."""
    number = ec.generate_private_key(ec.SECP256R1()).private_numbers().private_value
    return _text(number.to_bytes(32, "big"))


def public_key_of(private_key: str) -> str:
    """Return the public half, as browsers take it when they subscribe."""
    point = Vapid02.from_raw(private_key.encode()).public_key
    return _text(point.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint))


class PushSender:
    """Sends for one service.

    Parameters
    ----------
    private_key : str
        Signs; of `new_vapid_key`.
    contact : str
        Where a push service reaches the operator: mailto: or https.
    allow_private : bool
        Whether a push service may lie inside the operator's network.
    """

    def __init__(self, private_key: str, contact: str, *, allow_private: bool) -> None:
        self._vapid = Vapid02.from_raw(private_key.encode())
        self._contact = contact
        self._allow_private = allow_private

    def send(self, subscription: Subscription, text: str, *, topic: str, now: datetime) -> None:
        """Send a text to one browser. Raises `DeliveryError`; `bad_address` = it is over."""
        fault = fault_of(subscription, allow_private=self._allow_private)
        if fault:
            raise DeliveryError(fault, permanent=True, bad_address=True)
        parts = urlsplit(subscription.endpoint)
        claims = {
            "aud": f"{parts.scheme}://{parts.netloc}",
            "exp": int((now + SIGNED_FOR).timestamp()),
            "sub": self._contact,
        }
        headers = {
            "Content-Encoding": "aes128gcm",
            "Content-Type": "application/octet-stream",
            "TTL": str(int(TTL.total_seconds())),
            "Urgency": "normal",
            "Topic": topic,  # a newer one takes the place of one that waits
            **self._vapid.sign(claims),
        }
        body = _encrypted(subscription, text.encode()[:MOST_TEXT_BYTES])
        with Deadline(TIMEOUT_S) as deadline:
            try:
                status = post_to(
                    subscription.endpoint,
                    body,
                    headers,
                    deadline,
                    allow_private=self._allow_private,
                )
            except AddressRefused:
                why = "the push service lies inside this network"
                raise DeliveryError(why, permanent=True, bad_address=True) from None
            except (OSError, http.client.HTTPException, ValueError) as failure:
                late = f"the push service did not answer within {TIMEOUT_S:g} s"
                away = f"the push service could not be reached ({type(failure).__name__})"
                raise DeliveryError(late if deadline.over else away, permanent=False) from None
        if not 200 <= status < 300:
            again = status >= 500 or status in _TRY_AGAIN
            raise DeliveryError(
                f"the push service answered {status}",
                permanent=not again,
                bad_address=status in _GONE,
            )


def _encrypted(subscription: Subscription, text: bytes) -> bytes:
    """Encrypt for one browser: an own key and salt for each message (RFC 8291, section 3)."""
    encrypted: bytes = http_ece.encrypt(
        text,
        salt=os.urandom(16),
        private_key=ec.generate_private_key(ec.SECP256R1()),
        dh=_bytes(subscription.p256dh),
        auth_secret=_bytes(subscription.auth),
        version="aes128gcm",
    )
    return encrypted


def _split(address: str) -> SplitResult | None:
    try:
        parts = urlsplit(address)
        known = parts.scheme in ("http", "https") and parts.hostname and parts.port != 0
    except ValueError:
        return None
    return parts if known and parts.username is None and address.isascii() else None


def _bytes(text: str) -> bytes:
    try:
        padded = text.rstrip("=") + "=" * (-len(text.rstrip("=")) % 4)
        return base64.b64decode(padded, altchars=b"-_", validate=True)
    except (ValueError, binascii.Error):
        return b""


def _text(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).decode().rstrip("=")
