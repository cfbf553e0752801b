"""Browser sessions: how long do they live, and what is their cookie called?"""

from __future__ import annotations

from datetime import timedelta

from solespan.api.services.accounts.identity import Limits
from solespan.api.settings import Settings

__all__ = ["session_cookie_name", "session_limits"]


def session_limits(settings: Settings) -> Limits:
    """Return how long browser sessions live."""
    return Limits(
        timedelta(hours=settings.session_idle_hours), timedelta(days=settings.session_days)
    )


def session_cookie_name(settings: Settings) -> str:
    """Return the name of the session's cookie; over TLS one that browsers bind to this host."""
    secure = (settings.public_address or "").startswith("https://")
    return "__Host-solespan" if secure else "solespan_session"
