"""HTTP schemas of free days: what is asked, and which days does the bench offer?"""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field

from solespan.api.schemas.rack.records import Answer, Message
from solespan.forecast.frames import CONSTRUCTIONS, WORKS

__all__ = ["FreeDayFilters", "FreeDays"]

Work = Literal[WORKS]  # type: ignore[valid-type]
Construction = Literal[CONSTRUCTIONS]  # type: ignore[valid-type]


class FreeDayFilters(Message):
    """What is to be booked."""

    work: Work = Field(default="full_sole", description="kind of work. Unit: none (word)")
    construction: Construction = Field(
        default="goodyear_welted", description="how the sole is held. Unit: none (word)"
    )
    by_post: bool = Field(default=False, description="comes by post. Unit: true or false")
    limit: int = Field(default=20, ge=1, le=366, description="most days. Unit: days")


class OfferedDay(Answer):
    """One free day."""

    day: dt.date = Field(description="day on which it can come. Unit: calendar date, ISO 8601")
    ready_by: dt.date = Field(
        description="first day by which it can be done. Unit: calendar date, ISO 8601"
    )


class FreeDays(Answer):
    """The next free days, in the shop's time zone."""

    work: Work = Field(description="kind of work. Unit: none (word)")
    construction: Construction = Field(description="how the sole is held. Unit: none (word)")
    by_post: bool = Field(description="comes by post. Unit: true or false")
    today: dt.date = Field(description="the shop's day. Unit: calendar date, ISO 8601")
    hours_set: bool = Field(
        description="whether the shop has set its hours, else the default. Unit: true or false"
    )
    turnaround_days: int = Field(description="done within so many days. Unit: days")
    days: list[OfferedDay] = Field(description="the days, soonest first. Unit: none (list)")
