"""Signed post (Standard Webhooks 1.0).

How is a message posted so that its receiver can trust where it comes from, and drop a repeat?

`webhook-signature` holds a version and the HMAC-SHA256 (RFC 2104) of identifier, time and body, in
base64. While a secret is replaced, the old one signs as well. A receiver compares in constant time,
refuses old times, and drops an identifier that it has seen.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import http.client
import secrets
from collections.abc import Mapping, Sequence
from datetime import datetime

from solespan.api.channels.deadline import Deadline
from solespan.api.channels.message import DeliveryError
from solespan.api.channels.webhook.connect import AddressRefused, post_to

__all__ = ["SECRET_PREFIX", "new_secret", "post_signed", "secret_of_bytes", "signed_headers"]

SECRET_PREFIX = "whsec_"  # noqa: S105 - what every secret begins with
SECRET_BYTES = 32
TIMEOUT_S = 10.0  # for all of it: look-up, connection, and the head of the answer
_GONE = 410
_TRY_AGAIN = (408, 425, 429)


def new_secret() -> str:
    """Make a secret that signs for one receiver."""
    return secret_of_bytes(secrets.token_bytes(SECRET_BYTES))


def secret_of_bytes(key: bytes) -> str:
    """Write a key as receivers take it."""
    return SECRET_PREFIX + base64.b64encode(key).decode()


def signed_headers(
    signers: Sequence[str], message_id: str, now: datetime, body: bytes
) -> dict[str, str]:
    """Return the three headers of a message, signed by each secret."""
    stamp = str(int(now.timestamp()))
    signed = b".".join((message_id.encode(), stamp.encode(), body))
    signatures = []
    for secret in signers:
        key = base64.b64decode(secret.removeprefix(SECRET_PREFIX))
        digest = hmac.digest(key, signed, hashlib.sha256)
        signatures.append(f"v1,{base64.b64encode(digest).decode()}")
    return {
        "webhook-id": message_id,
        "webhook-timestamp": stamp,
        "webhook-signature": " ".join(signatures),
    }


def post_signed(
    url: str,
    body: bytes,
    signed: Mapping[str, str],
    *,
    allow_private: bool,
) -> int:
    """Post a signed body; return the status of the answer.

    Raises `DeliveryError`; `bad_address` = the receiver wants nothing more.
    """
    headers = {"Content-Type": "application/json", "User-Agent": "solespan", **signed}
    with Deadline(TIMEOUT_S) as deadline:
        try:
            status = post_to(url, body, headers, deadline, allow_private=allow_private)
        except AddressRefused as refused:
            raise DeliveryError(str(refused), permanent=True) from None
        except (OSError, http.client.HTTPException, ValueError) as failure:
            late = f"the webhook did not answer within {TIMEOUT_S:g} s"
            away = f"the webhook could not be reached ({type(failure).__name__})"
            raise DeliveryError(late if deadline.over else away, permanent=False) from None
    if 200 <= status < 300:
        return status
    again = status >= 500 or status in _TRY_AGAIN
    more = "; redirects are not followed" if 300 <= status < 400 else ""
    raise DeliveryError(
        f"the webhook answered {status}{more}", permanent=not again, bad_address=status == _GONE
    )
