"""Day choice service: what did a wearer say of today, and which dress code has each weekday?

What holds for one day stays in the browser that said it. The dress codes of the week stay with the
wearer, so that every device knows them.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.services.rack import records
from solespan.forecast.frames import DRESS_CODES

__all__ = ["SaidOfDay", "code_of_week", "keep_code_of_week", "read_day_choice", "write_day_choice"]

DAYS = 7
MOST_SKIPPED = 20
ANY = "any"  # stands for a weekday without a dress code


@dataclass(frozen=True)
class SaidOfDay:
    """What was said of one day; `code` None = nothing, empty = anything goes."""

    code: str | None = None
    wet: bool = False
    skipped: Sequence[str] = ()

    def without(self, pair_id: str) -> SaidOfDay:
        """Leave a pair out for the day."""
        rest = [other for other in self.skipped if other != pair_id]
        return replace(self, skipped=[*rest, pair_id][-MOST_SKIPPED:])


def write_day_choice(day: date, said: SaidOfDay) -> str:
    """Write what was said of a day as the value of a cookie."""
    kept = [day.isoformat(), said.code, said.wet, list(said.skipped)]
    return base64.urlsafe_b64encode(json.dumps(kept).encode()).decode().rstrip("=")


def read_day_choice(value: str, day: date) -> SaidOfDay:
    """Read a cookie; what was said of another day, or cannot be read, counts as nothing."""
    try:
        kept = json.loads(base64.urlsafe_b64decode(value + "=" * (-len(value) % 4)))
        when, code, wet, skipped = kept
        pairs = [str(pair_id) for pair_id in skipped][:MOST_SKIPPED]
    except (ValueError, TypeError, binascii.Error):
        return SaidOfDay()
    if when != day.isoformat():
        return SaidOfDay()
    return SaidOfDay(code if code in (*DRESS_CODES, "") else None, wet is True, pairs)


def code_of_week(dress_week: str | None, day: date) -> str:
    """Return the dress code of a day's weekday; empty where none is known."""
    codes = (dress_week or "").split()
    code = codes[day.weekday()] if len(codes) == DAYS else ""
    return code if code in DRESS_CODES else ""


def keep_code_of_week(
    session: Session, clock: Clock, wearer_id: str, day: date, code: str
) -> records.Written:
    """Keep the dress code of a day's weekday with the wearer. Raises `NotFound`."""
    key = {"wearer_id": wearer_id}
    stored = records.read(session, "wearers", key)["dress_week"]
    codes = (stored or "").split()
    codes = codes if len(codes) == DAYS else [ANY] * DAYS
    codes[day.weekday()] = code if code in DRESS_CODES else ANY
    values = {"dress_week": " ".join(codes)}
    return records.replace(session, "wearers", key, values, versions=None, clock=clock)
