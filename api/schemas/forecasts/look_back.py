"""HTTP schemas of the look back: which fields does it have?"""

from __future__ import annotations

import datetime as dt

from pydantic import Field

from solespan.api.schemas.rack.records import Answer

__all__ = ["PastForecasts"]


class ForecasterScore(Answer):
    """How far one way of forecasting was off."""

    forecaster: str = Field(description="which way. Unit: none (text)")
    forecasts: int = Field(description="how many were scored. Unit: forecasts")
    crps_days: float | None = Field(description="mean score, less is better. Unit: d")
    times_the_model: float | None = Field(description="the same over that of the model. Unit: none")


class BandOutcome(Answer):
    """Due within a time, as said and as it happened, for one band."""

    band: str = Field(description="the band. Unit: none (word)")
    forecasts: int = Field(description="how many had it. Unit: forecasts")
    said: float | None = Field(description="mean chance said. Unit: probability")
    happened: float | None = Field(description="share that was due. Unit: share")


class ChanceOutcome(Answer):
    """Chances said and what happened, for forecasts that said about the same."""

    within_days: int = Field(description="the time that the chance is of. Unit: d")
    forecasts: int = Field(description="how many. Unit: forecasts")
    said: float | None = Field(description="mean chance said. Unit: probability")
    happened: float | None = Field(description="share that was due. Unit: share")
    low: float | None = Field(description="lower end of its 80 % interval. Unit: share")
    high: float | None = Field(description="upper end of its 80 % interval. Unit: share")


class PastForecasts(Answer):
    """How good forecasts of the past would have been."""

    made_on: dt.date = Field(description="day of the look back. Unit: calendar date, ISO 8601")
    days: int = Field(description="days it looks back from. Unit: days")
    sound_days: int = Field(description="the time that bands are judged by. Unit: d")
    sentences: list[str] = Field(description="the same in words. Unit: none (text)")
    scores: list[ForecasterScore] = Field(description="by forecaster. Unit: none (list)")
    bands: list[BandOutcome] = Field(description="by band. Unit: none (list)")
    calibration: list[ChanceOutcome] = Field(description="by time and chance. Unit: none (list)")
