"""Bench waits storage.

How long does a pair wait for a place, week by week, by the newest plan of the bench?

The plan itself holds every pair and is large; the waits are kept beside it, small, because each
wear day logged reads them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.storage.shop_settings import find_setting, put_setting

__all__ = ["NAME", "keep_waits", "waits_in"]

NAME = "bench_waits"
_WEEK = timedelta(days=7)


def keep_waits(session: Session, lead_times: Iterable[Mapping[str, Any]]) -> None:
    """Keep the days until a place asked for in each week is free, and until a pair is back.

    Nine in ten have both.
    """
    weeks = [
        [row["week_begins_on"], int(row["booking_days"]), math.ceil(row["lead_days_p90"])]
        for row in lead_times
    ]
    found = find_setting(session, NAME)
    put_setting(session, NAME, {"weeks": weeks}, 0 if found is None else found[1])


def waits_in(kept: Mapping[str, Any], today: date) -> tuple[tuple[date, int], ...]:
    """Return weeks and waits in days of what `keep_waits` kept.

    None without a plan, or when all its weeks are past.
    """
    weeks = tuple((date.fromisoformat(day), int(wait)) for day, wait, _ in kept["weeks"])
    return weeks if weeks and weeks[-1][0] + _WEEK > today else ()
