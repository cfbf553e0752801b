"""HTTP schemas of calibrations: a thumb grade beside a known thickness, and what it taught."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from solespan.api.schemas.fields import PlainDate
from solespan.api.schemas.rack.records import Answer, Message
from solespan.forecast.frames import FEET, GRADES, MAX_THICKNESS_MM
from solespan.forecast.panel.panel import GAUGES

__all__ = ["CalibrationCreate", "CalibrationDone", "CutPoints"]


class CalibrationCreate(Message):
    """What a thumb felt at the ball of one shoe, and how thick the sole is there."""

    foot: Literal[FEET] = Field(description="the shoe. Unit: none (word)")  # type: ignore[valid-type]
    grade: Literal[GRADES] = Field(  # type: ignore[valid-type]
        description="what the thumb felt. Unit: none (word)"
    )
    checked_on: PlainDate | None = Field(
        default=None, description="day of both; default today. Unit: calendar date, ISO 8601"
    )
    value_mm: Annotated[float, Field(ge=0, le=MAX_THICKNESS_MM, allow_inf_nan=False)] | None = (
        Field(default=None, description="what a gauge read there; null = the sole is new. Unit: mm")
    )
    method: Literal[GAUGES] | None = Field(  # type: ignore[valid-type]
        default=None, description="the gauge; needed with value_mm. Unit: none (word)"
    )
    sure: bool = Field(
        default=False,
        description="whether a grade that does not go with the thickness is meant all the same. "
        "Unit: true or false",
    )


class CutPoints(Answer):
    """Where an owner's thumb goes from one grade to the next, for a limit of 2 mm."""

    firm_from_mm: float = Field(description="thickness from which it says firm. Unit: mm")
    give_from_mm: float = Field(description="thickness from which it says give. Unit: mm")
    sd_mm: float = Field(description="standard deviation of both. Unit: mm")


class CalibrationDone(Answer):
    """What a calibration taught."""

    new: bool = Field(
        description="whether it was not logged already. Unit: true or false",
    )
    before: CutPoints | None = Field(
        description="before it; null = nothing is forecast yet. Unit: none (object)"
    )
    now: CutPoints | None = Field(
        description="with it; null = nothing is forecast yet. Unit: none (object)"
    )
