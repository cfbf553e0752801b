"""HTTP schemas of asking: whom would the year's plan ask and why, and whom does it leave out?"""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field

from solespan.api.schemas.rack.records import MAX_PAGE, Answer, Message
from solespan.forecast.workload.asking_rules import LEFT_OUT

__all__ = ["WHY", "AskedFilters", "AskedPairs"]

WHY = LEFT_OUT | {
    "busy": "it is booked in or at a bench",
    "gone": "it is probably no longer in use",
    "later": "it is not due within a year",
}


class AskedFilters(Message):
    """Which pairs to list; counts are of all."""

    why: Literal[tuple(WHY)] | None = Field(  # type: ignore[valid-type]
        default=None,
        description="list the pairs left out for this reason; null = those asked. "
        "Unit: none (word)",
    )
    limit: int = Field(default=50, ge=1, le=MAX_PAGE, description="rows at most. Unit: rows")


class AskedPair(Answer):
    """One pair that would be asked for, or is left out."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    pair: str = Field(description="what it is called. Unit: none (text)")
    customer: str = Field(description="whose it is. Unit: none (text)")
    ask_on: dt.date | None = Field(
        description="day it would be asked for; null = none within the horizon. "
        "Unit: calendar date, ISO 8601"
    )
    why: Literal[tuple(WHY)] | None = Field(  # type: ignore[valid-type]
        description="why it is left out; null = asked. Unit: none (word)"
    )
    reason: str = Field(description="what its forecast is based on. Unit: none (text)")


class Proved(Answer):
    """How many pairs that past years would have asked proved due."""

    asked: int = Field(description="pairs asked by the look back. Unit: pairs")
    due: int = Field(description="of them proved due in time. Unit: pairs")
    days: int = Field(description="time after the day asked for. Unit: d")
    share: float | None = Field(
        description="share proved due; null = not yet known. Unit: probability"
    )


class AskedPairs(Answer):
    """Whom the year's plan would ask; nothing is sent."""

    as_of: dt.date = Field(description="day of the list. Unit: calendar date, ISO 8601")
    planned_on: dt.date | None = Field(
        description="day of the plan used; null = none, send-by days count. "
        "Unit: calendar date, ISO 8601"
    )
    counts: dict[str, int] = Field(description="pairs by reason, and asked. Unit: pairs")
    proved: Proved = Field(description="what past years show. Unit: none (object)")
    items: list[AskedPair] = Field(description="by day asked for. Unit: none (list)")
