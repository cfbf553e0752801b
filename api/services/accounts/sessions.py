"""Browser sessions: how long do they live, and what is their cookie called?"""

from __future__ import annotations

from datetime import timedelta

from solespan.api.services.accounts.identity import Limits
from solespan.api.settings import Settings

__all__ = ["device_cookie_name", "session_cookie_name", "session_limits"]


def session_limits(settings: Settings) -> Limits:
    """Return how long browser sessions live."""
    return Limits(
        timedelta(hours=settings.session_idle_hours), timedelta(days=settings.session_days)
    )


def session_cookie_name(settings: Settings) -> str:
    """Return the name of the session's cookie; over TLS one that browsers bind to this host."""
    return "__Host-solespan" if settings.over_tls else "solespan_session"


def device_cookie_name(settings: Settings) -> str:
    """Return the name of the cookie by which a person's device is known at the next sign-in."""
    return "__Host-solespan-device" if settings.over_tls else "solespan_device"
