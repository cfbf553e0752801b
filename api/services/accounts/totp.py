"""Time-based one-time passwords (RFC 6238): which code is right now, and which moment is it of?

SHA-1, six digits and 30 seconds, which every authenticator knows. A code of the moment before or
after is taken as well, since clocks differ. A moment's number tells whether its code was used.
"""

from __future__ import annotations

import hmac
from datetime import datetime

import pyotp

__all__ = ["DIGITS", "address_of", "moment_of", "new_seed"]

DIGITS = 6
PERIOD_S = 30
NEIGHBOURS = 1  # moments before and after, as RFC 6238, 5.2 allows for delay


def new_seed() -> str:
    """Return 160 random bits as an authenticator takes them (base 32)."""
    return pyotp.random_base32()


def moment_of(seed: str, code: str, now: datetime) -> int | None:
    """Return the number of the moment that this is the code of; None for a wrong code."""
    made = pyotp.TOTP(seed, digits=DIGITS, interval=PERIOD_S)
    here = int(now.timestamp()) // PERIOD_S
    found = None
    for moment in range(max(here - NEIGHBOURS, 0), here + NEIGHBOURS + 1):
        if hmac.compare_digest(made.generate_otp(moment).encode(), code.encode()):
            found = moment
    return found


def address_of(seed: str, *, account: str, issuer: str) -> str:
    """Return the address that an authenticator reads from a square code."""
    made = pyotp.TOTP(seed, digits=DIGITS, interval=PERIOD_S)
    return made.provisioning_uri(name=account, issuer_name=issuer)
