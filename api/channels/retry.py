"""Retry schedule: when is a notice tried again, and when given up?

RFC 5321, section 4.5.4.1: tries at least 30 minutes apart after the first ones, given up after 4 to
5 days at the earliest.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

__all__ = ["RFC_5321", "RetryRule", "next_try"]


@dataclass(frozen=True)
class RetryRule:
    """Gaps grow threefold from the first to the longest, until it is given up."""

    first_gap: timedelta
    longest_gap: timedelta
    give_up_after: timedelta


RFC_5321 = RetryRule(timedelta(minutes=5), timedelta(hours=4), timedelta(days=5))
JITTER = 0.25  # so that a thousand notices do not come back in one second


def next_try(
    now: datetime, made_at: datetime, attempts: int, jitter: float, rule: RetryRule = RFC_5321
) -> datetime | None:
    """Return when to try again after the failed attempt number `attempts`; None = give up.

    Parameters
    ----------
    attempts : int
        How often it has been tried, at least 1.
    jitter : float
        A number from 0 to 1 that spreads the gaps by a quarter; chance is the caller's.
    """
    gap = min(rule.first_gap * 3.0 ** min(attempts - 1, 20), rule.longest_gap)
    at = now + gap * (1 + JITTER * jitter)
    return None if at > made_at + rule.give_up_after else at
