"""Choices of a shop for its forecasts: risk, and the thresholds of the bands."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from solespan.api.schemas.rack.records import Message

__all__ = ["ForecastChoices"]

Chance = Annotated[float, Field(gt=0, lt=1, allow_inf_nan=False)]
Days = Annotated[int, Field(ge=0, le=3653)]


class ForecastChoices(Message):
    """What shapes a shop's forecasts; the defaults are those of the forecast library."""

    risk: Chance | None = Field(
        default=None,
        title="Risk at the send-by date",
        description="chance of being past the limit that a send-by date allows; null = as the "
        "operator set it. Unit: probability",
    )
    bench_wait_days: Annotated[int, Field(ge=0, le=730)] | None = Field(
        default=None,
        title="Wait for a free place, without a bench plan",
        description="wait for a free place while there is no bench plan; null = as the operator "
        "set it. Unit: days",
    )
    sound_chance: Chance = Field(
        default=0.10,
        title="Sound: while the chance of being due is less than",
        description="`sound` while the chance is less than this. Unit: probability",
    )
    sound_days: Days = Field(
        default=180,
        title="Sound: within so many days",
        description="within how many days that chance counts. Unit: days",
    )
    book_in_days: Days = Field(
        default=30,
        title="Book in: days before the book-by date",
        description="`book in` so many days before the book-by date. Unit: days",
    )
    stop_chance: Chance = Field(
        default=0.50,
        title="Stop wearing: from this chance of being at the limit today",
        description="`stop wearing` from this chance of being at the limit today. "
        "Unit: probability",
    )
