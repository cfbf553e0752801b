"""Bench waits storage.

How long does a pair wait for a place, day by day, by the newest plan of the bench?

The plan itself holds every pair and is large; the waits are kept beside it, small, because each
wear day logged reads them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from itertools import groupby
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.storage.shop_settings import find_setting, put_setting

__all__ = ["NAME", "keep_waits", "waits_in"]

NAME = "bench_waits"


def keep_waits(session: Session, waits: Iterable[tuple[date, int]]) -> None:
    """Keep the days until a place is free that is asked for on each day.

    A day like the one before is left out, except the last.
    """
    every = list(waits)
    begins = [next(same) for _, same in groupby(every, key=lambda one: one[1])]
    ends = every[-1][0].isoformat() if every else None
    found = find_setting(session, NAME)
    kept = {"days": [[day.isoformat(), wait] for day, wait in begins], "ends_on": ends}
    put_setting(session, NAME, kept, 0 if found is None else found[1])


def waits_in(kept: Mapping[str, Any], today: date) -> tuple[tuple[date, int], ...]:
    """Return days and waits of what `keep_waits` kept.

    None without a plan, or when all its days are past.
    """
    if not kept["days"] or date.fromisoformat(kept["ends_on"]) < today:
        return ()
    return tuple((date.fromisoformat(day), int(wait)) for day, wait in kept["days"])
