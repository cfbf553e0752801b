"""Keys and passwords: how are keys made and passwords judged, kept and compared?

Keys have 256 random bits and are kept as SHA-256, which suffices for what cannot be guessed.
Passwords are kept as argon2id (RFC 9106) with the library's parameters, which each hash records. At
sign-in an older one is replaced. The rules are those of the OWASP Application Security Verification
Standard 5.0, 6.2. A password has 12 to 256 characters of any kind and is not a commonly used one.
One hash takes 64 MiB and a processor, so few are made at once. Strangers have a queue of their own,
and never hold up a member.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

__all__ = [
    "SHORTEST",
    "fault_of_password",
    "hash_of",
    "hash_password",
    "new_secret",
    "outdated",
    "same_password",
    "turn",
]

SHORTEST, LONGEST = 12, 256
# What anybody guesses of this program and its users: a password needs more than these.
CONTEXT_WORDS = ("solespan", "password", "passwort", "shoes", "resole", "cobbler", "owner", "staff")
OTHER_LETTERS = 4
_HASHER = PasswordHasher()
AT_ONCE, WAITING_STRANGERS = 2, 8
_MEMBERS, _STRANGERS = BoundedSemaphore(AT_ONCE), BoundedSemaphore(AT_ONCE)
_QUEUE = BoundedSemaphore(AT_ONCE + WAITING_STRANGERS)


def new_secret() -> str:
    """Return 256 random bits as text for an address or a header."""
    return secrets.token_urlsafe(32)


def hash_of(secret: str) -> str:
    """Return what is kept of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


def fault_of_password(password: str, *, email: str = "") -> str:
    """Say why a password is not taken; empty when it is."""
    if not SHORTEST <= len(password) <= LONGEST:
        return f"a password has {SHORTEST} to {LONGEST} characters"
    lowered = password.casefold()
    if email and lowered in (email.casefold(), email.partition("@")[0].casefold()):
        return "a password is not the e-mail address"
    rest = lowered
    for word in CONTEXT_WORDS:
        rest = rest.replace(word, "")
    if sum(letter.isalpha() for letter in rest) < OTHER_LETTERS and rest != lowered:
        return "a password needs more than words of this program"
    if lowered in _common() or len(set(lowered)) < 4:
        return "this password is among those that are tried first"
    return ""


@cache
def _common() -> frozenset[str]:
    """Return passwords that attackers try first, from the frequency lists of a library."""
    from zxcvbn.frequency_lists import FREQUENCY_LISTS  # noqa: PLC0415 - 2 MB, for this only

    words = FREQUENCY_LISTS["passwords"]
    return frozenset(word for word in words if len(word) >= SHORTEST)


def hash_password(password: str) -> str:
    """Return what is kept of a password."""
    return _HASHER.hash(password)


@contextmanager
def turn(*, stranger: bool = False) -> Iterator[bool]:
    """Wait for a turn to hash, and say whether there is one: a full queue has none."""
    if not stranger:
        with _MEMBERS:
            yield True
    elif not _QUEUE.acquire(blocking=False):
        yield False
    else:
        try:
            with _STRANGERS:
                yield True
        finally:
            _QUEUE.release()


@cache
def _nobody() -> str:
    return _HASHER.hash(new_secret())


def same_password(kept: str | None, password: str) -> bool:
    """Return whether it is the password; as slow for a person who is not there (`kept` None)."""
    try:
        matches = _HASHER.verify(kept or _nobody(), password)
    except (VerificationError, InvalidHashError):
        return False
    return matches and kept is not None


def outdated(kept: str | None) -> bool:
    """Return whether a hash was made with other parameters than those of today."""
    return kept is not None and _HASHER.check_needs_rehash(kept)
