"""Form token masks: why does a compressed page not give its form's token away?

A listener sees the size of a compressed answer. The size tells whether a guess that the page
repeats is a part of a secret on it (BREACH, an attack of 2013). So each answer carries the token
under a new random mask: the mask, and the token combined with it by exclusive or.
"""

from __future__ import annotations

import base64
import binascii
import hmac
import secrets

__all__ = ["is_token", "mask_token"]


def mask_token(token: str) -> str:
    """Return a token as one answer carries it; each call gives another text."""
    plain = token.encode()
    mask = secrets.token_bytes(len(plain))
    return base64.urlsafe_b64encode(mask + _combined(mask, plain)).decode()


def is_token(given: str, token: str) -> bool:
    """Return whether a form gave this token: masked, or plain as the cookie holds it."""
    plain = token.encode()
    masked = hmac.compare_digest(_unmasked(given), plain)
    return bool(plain) and (masked or hmac.compare_digest(given.encode(), plain))


def _unmasked(given: str) -> bytes:
    try:
        both = base64.b64decode(given.encode(), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        return b""
    half = len(both) // 2
    return _combined(both[:half], both[half:]) if len(both) == 2 * half else b""


def _combined(one: bytes, other: bytes) -> bytes:
    return bytes(a ^ b for a, b in zip(one, other, strict=True))
