"""Clock: what is the time now, and which day is it where a wearer lives?

The only place that looks at the machine's clock; tests put another function in its place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

__all__ = ["Clock", "is_time_zone"]


def _now_utc() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True)
class Clock:
    """Tells the instant in UTC, and the calendar day in a time zone.

    `now` is any function without arguments that returns an aware datetime.
    """

    now: Callable[[], datetime] = _now_utc

    def today(self, time_zone: str = "UTC") -> date:
        """Return the calendar day in an IANA time zone; an unknown zone counts as UTC."""
        zone = ZoneInfo(time_zone) if is_time_zone(time_zone) else UTC
        return self.now().astimezone(zone).date()


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


def is_time_zone(name: str) -> bool:
    """Whether `name` is an IANA time zone that this machine knows."""
    return name in _zones()
