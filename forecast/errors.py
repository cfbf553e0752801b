"""Errors of the library.

What can go wrong in the forecast library, by stage, and what to do about it?
"""

from __future__ import annotations

__all__ = ["BadFrame", "BadHorizon", "ForecastError", "TooLittleData"]


class ForecastError(Exception):
    """Something in the forecast library could not be done; the subclass says at which stage."""


class BadFrame(ForecastError):
    """A frame breaks its contract in `forecast.frames`; correct the column named."""


class TooLittleData(ForecastError):
    """There is no sole to forecast; add at least one pair with one sole."""


class BadHorizon(ForecastError):
    """A horizon, a risk or a date lies outside what can be answered; use one in the range named."""
