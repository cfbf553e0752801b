"""Bench waits storage.

How long does a pair wait, and when is it back, by the newest plan of the bench?

The plan itself holds every pair and is large. What each wear day logged and the bench's page read
is kept beside it, small.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import groupby
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.storage.shop_settings import find_setting, put_setting
from solespan.forecast.bench.dates import back_on

__all__ = ["NAME", "Promises", "keep_waits", "promises_in", "waits_in"]

NAME = "bench_waits"


def keep_waits(
    session: Session,
    waits: Iterable[tuple[date, int]],
    leads: Iterable[tuple[datetime, float]],
    orders: Mapping[str, str],
) -> None:
    """Keep what a plan says.

    Parameters
    ----------
    waits : days and the wait for a place on each; a day like the one before is left out.
    leads : weeks, and the days in which nine in ten pairs handed over in each are back.
    orders : by order that is here, the ISO date by which nine in ten such are done.
    """
    every = list(waits)
    begins = [next(same) for _, same in groupby(every, key=lambda one: one[1])]
    ends = every[-1][0].isoformat() if every else None
    found = find_setting(session, NAME)
    kept = {
        "days": [[day.isoformat(), wait] for day, wait in begins],
        "ends_on": ends,
        "leads": [[week.date().isoformat(), math.ceil(days)] for week, days in leads],
        "orders": dict(orders),
    }
    put_setting(session, NAME, kept, 0 if found is None else found[1])


def waits_in(kept: Mapping[str, Any], today: date) -> tuple[tuple[date, int], ...]:
    """Return days and waits of what `keep_waits` kept.

    None without a plan, or when all its days are past.
    """
    if not kept.get("days") or date.fromisoformat(kept["ends_on"]) < today:
        return ()
    return tuple((date.fromisoformat(day), int(wait)) for day, wait in kept["days"])


@dataclass(frozen=True)
class Promises:
    """By when nine pairs in ten are back, by the newest plan of the bench.

    orders : days of orders that were here when it was made. leads : weeks and days from hand-over.
    """

    orders: Mapping[str, date] = field(default_factory=dict)
    leads: tuple[tuple[date, int], ...] = ()

    def back_on(self, handed_over_on: date) -> date | None:
        """Return the day by which a pair is back; before the first week its days stand.

        None without a plan, or when all its weeks are past.
        """
        return back_on(self.leads, handed_over_on)


def promises_in(session: Session) -> Promises:
    """Return what the newest plan of the session's shop lets one promise."""
    found = find_setting(session, NAME)
    if found is None:
        return Promises()
    orders = {one: date.fromisoformat(day) for one, day in found[0].get("orders", {}).items()}
    leads = ((date.fromisoformat(week), int(days)) for week, days in found[0].get("leads", []))
    return Promises(orders, tuple(leads))
