"""Browser sessions: how long do they live, which are a person's, and who ends them?"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import NotFound, Refused
from solespan.api.services.accounts.identity import Identity, Limits
from solespan.api.services.accounts.people import tidy_email
from solespan.api.services.accounts.security_log import note_after
from solespan.api.settings import Settings
from solespan.api.storage.accounts import accounts, credentials

__all__ = [
    "device_cookie_name",
    "device_in_words",
    "end_members_sessions",
    "end_other_sessions",
    "end_own_session",
    "end_sessions_of",
    "own_sessions",
    "session_cookie_name",
    "session_limits",
    "sessions_named",
    "sessions_of",
    "step_cookie_name",
]

# The first that a browser names counts, as most also name those they are like.
BROWSERS = {
    "Edg": "Edge",
    "OPR": "Opera",
    "Firefox": "Firefox",
    "FxiOS": "Firefox",
    "Chrome": "Chrome",
    "CriOS": "Chrome",
    "Safari": "Safari",
}
SYSTEMS = {
    "Android": "Android",
    "iPhone": "iPhone",
    "iPad": "iPad",
    "Windows": "Windows",
    "Mac OS": "Mac",
    "CrOS": "ChromeOS",
    "Linux": "Linux",
}


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


def step_cookie_name(settings: Settings) -> str:
    """Return the name of the cookie between the password and the code."""
    return "__Host-solespan-step" if settings.over_tls else "solespan_step"


def device_in_words(user_agent: str) -> str:
    """Say which browser on which system this is, as far as it tells."""

    def named(words: dict[str, str]) -> str:
        return next(
            (name for word, name in words.items() if re.search(rf"\b{word}", user_agent)), ""
        )

    browser, system = named(BROWSERS), named(SYSTEMS)
    return " on ".join(filter(None, [browser, system])) or "an unknown browser"


def own_sessions(
    session: Session, who: Identity, now: datetime, limits: Limits
) -> list[dict[str, Any]]:
    """Return where a person is signed in; `here` marks the session that asks. Raises `Refused`."""
    return [
        row | {"here": row["pk"] == who.session_pk}
        for row in sessions_of(session, _person(who), now, limits)
    ]


def sessions_of(
    session: Session, user_pk: int, now: datetime, limits: Limits
) -> list[dict[str, Any]]:
    """Return where a person is signed in, the browser used last first."""
    return credentials.list_sessions(
        session, user_pk, begun_after=now - limits.longest, used_after=now - limits.idle
    )


def end_own_session(session: Session, who: Identity, session_id: str) -> None:
    """End one of a person's own sessions. Raises `NotFound` or `Refused`."""
    if not credentials.end_sessions(session, _person(who), session_id=session_id):
        raise NotFound(
            "There is no such session; it may be over.",
            where="session_id",
            remedy="Look at the list.",
        )
    note_after(session, "session_ended", session_id=session_id)


def end_other_sessions(session: Session, who: Identity) -> int:
    """End all of a person's sessions but the one that asks; return how many. Raises `Refused`."""
    ended = credentials.end_sessions(session, _person(who), but_pk=who.session_pk)
    note_after(session, "sessions_ended", count=ended)
    return ended


def end_members_sessions(session: Session, tenant_pk: int, member: str | None = None) -> int:
    """End the sessions in a tenant of one member (id or e-mail), or of all; return how many.

    Raises `NotFound`.
    """
    given = (member, tidy_email(member or ""))
    ended, found = 0, member is None
    for row in accounts.list_members(session, tenant_pk):
        if member is None or row["user_id"] == given[0] or row["email"] == given[1]:
            found = True
            count = credentials.end_sessions(session, row["user_pk"], tenant_pk)
            note_after(session, "sessions_ended", account=row["user_id"], count=count)
            ended += count
    if not found:
        raise NotFound("There is no such member.", where="member", remedy="Look at the list.")
    return ended


def end_sessions_of(session: Session, email: str, session_id: str | None = None) -> int:
    """End a person's sessions anywhere, or the one named; return how many. Raises `NotFound`."""
    ended = credentials.end_sessions(session, _named(session, email), session_id=session_id)
    if session_id is not None and not ended:
        raise NotFound("This person has no such session.", remedy="Look at the list.")
    return ended


def sessions_named(
    session: Session, email: str, now: datetime, limits: Limits
) -> list[dict[str, Any]]:
    """Return where the person with this address is signed in. Raises `NotFound`."""
    return sessions_of(session, _named(session, email), now, limits)


def _named(session: Session, email: str) -> int:
    person = accounts.find_person(session, tidy_email(email))
    if person is None:
        raise NotFound("There is no such person.", where="email", remedy="Look at the members.")
    return person.user_pk


def _person(who: Identity) -> int:
    if who.user_pk is None:
        raise Refused(
            "Only a person who is signed in has sessions of their own.",
            remedy="Sign in on the page.",
        )
    return who.user_pk
