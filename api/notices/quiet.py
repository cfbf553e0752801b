"""Quiet hours: when may a customer be written to, by the clock on their own wall?

Local times follow PEP 495. A time that the clock skips counts as the same distance later, as in RFC
5545. A time that it shows twice is the first of the two.
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta, tzinfo
from zoneinfo import ZoneInfo

from solespan.api.clock import is_time_zone

__all__ = ["first_allowed", "is_quiet", "zone_of"]

DAYS_LOOKED_AT = 4  # a day may be missing from a calendar, and the next begin with a gap


def zone_of(name: str) -> tzinfo:
    """Return an IANA zone; an unknown name counts as UTC."""
    return ZoneInfo(name) if is_time_zone(name) else UTC


def is_quiet(at: time, quiet_from: time, quiet_to: time) -> bool:
    """Whether a time of day lies in the quiet hours, which may go over midnight."""
    if quiet_from <= quiet_to:
        return quiet_from <= at < quiet_to
    return at >= quiet_from or at < quiet_to


def first_allowed(now: datetime, zone: tzinfo, quiet_from: time, quiet_to: time) -> datetime:
    """Return `now`, or the end of the quiet hours it lies in, as an instant in UTC.

    Parameters
    ----------
    now : aware datetime
    zone : tzinfo
        Where the customer lives.
    quiet_from, quiet_to : time
        Naive local times; the same twice means no quiet hours.
    """

    def quiet(instant: datetime) -> bool:
        return is_quiet(instant.astimezone(zone).time(), quiet_from, quiet_to)

    now = now.astimezone(UTC)
    if not quiet(now):
        return now
    today = now.astimezone(zone).date()
    for days in range(-1, DAYS_LOOKED_AT):
        ends = [
            datetime.combine(today + timedelta(days=days), quiet_to, zone)
            .replace(fold=fold)
            .astimezone(UTC)
            for fold in (0, 1)
        ]
        allowed = [end for end in ends if end >= now and not quiet(end)]
        if allowed:
            return min(allowed)
    raise ValueError("these quiet hours never end")  # cannot be: a day has an end
