"""Retry schedule: when is a notice tried again, and when given up?

RFC 5321, section 4.5.4.1: tries at least 30 minutes apart after the first ones, given up after 4 to
5 days at the earliest.
"""

from __future__ import annotations

from datetime import datetime, timedelta

__all__ = ["GIVE_UP_AFTER", "next_try"]

FIRST_GAP = timedelta(minutes=5)
LONGEST_GAP = timedelta(hours=4)
GIVE_UP_AFTER = timedelta(days=5)
JITTER = 0.25  # so that a thousand notices do not come back in one second


def next_try(now: datetime, made_at: datetime, attempts: int, jitter: float) -> datetime | None:
    """Return when to try again after the failed attempt number `attempts`; None = give up.

    Parameters
    ----------
    attempts : int
        How often it has been tried, at least 1.
    jitter : float
        A number from 0 to 1 that spreads the gaps by a quarter; chance is the caller's.
    """
    gap = min(FIRST_GAP * 3.0 ** min(attempts - 1, 20), LONGEST_GAP)
    at = now + gap * (1 + JITTER * jitter)
    return None if at > made_at + GIVE_UP_AFTER else at
