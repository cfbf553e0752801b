"""Device list: which devices of the household are connected, and when was each seen last?

Takes stored rows and gives words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from solespan.dashboards import wording

__all__ = ["device_list"]


def device_list(devices: Sequence[Mapping[str, Any]], *, now: datetime) -> list[dict[str, str]]:
    """Give each device its id, its name, and the words for when it was seen."""
    return [
        {
            "device_id": one["device_id"],
            "name": one["name"],
            "seen": _ago(one["used_at"], now),
            "since": wording.short_date(one["made_at"]),
        }
        for one in devices
    ]


def _ago(then: datetime, now: datetime) -> str:
    minutes = int((now - then).total_seconds() // 60)
    for size, one, many in ((1440, "day", "days"), (60, "hour", "hours"), (1, "minute", "minutes")):
        count = minutes // size
        if count:
            return f"{count} {one if count == 1 else many} ago"
    return "just now"
