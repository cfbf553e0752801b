"""One-time codes: is this a person's code, or recovery code, that nobody used before?"""

from __future__ import annotations

import re
from datetime import datetime

from sqlalchemy.orm import Session

from solespan.api.services.accounts import secrets, totp
from solespan.api.storage.accounts import factors

__all__ = ["tidy_code", "use_code"]


def tidy_code(typed: str) -> str:
    """Return a code without the space and hyphens that people read it by."""
    return re.sub(r"[\s-]", "", typed).upper()


def use_code(session: Session, user_pk: int, typed: str, now: datetime) -> str:
    """Use a code or a recovery code up; return which it was, empty for a wrong one."""
    code = tidy_code(typed)
    if len(code) == totp.DIGITS:
        for factor in factors.list_factors(session, user_pk):
            moment = totp.moment_of(factor["seed"], code, now)
            if moment is not None and factors.use_moment(session, factor["id"], moment, now):
                return "code"
        return ""
    if factors.use_recovery_code(session, user_pk, secrets.hash_of(code)):
        return "recovery code"
    return ""
