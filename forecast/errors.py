"""Errors of the library.

What can go wrong in the forecast library, by stage, and what to do about it?
"""

from __future__ import annotations

__all__ = ["BadArgument", "BadFrame", "BadHorizon", "ForecastError", "TooLittleData"]

_LONGEST = 60


class ForecastError(Exception):
    """Something in the forecast library could not be done; the subclass says at which stage."""


class BadFrame(ForecastError):
    """A frame breaks its contract in `forecast.frames`; correct the column named."""


class TooLittleData(ForecastError):
    """There is no sole to forecast; add at least one pair with one sole."""


class BadHorizon(ForecastError):
    """A horizon, a risk or a date lies outside what can be answered; use one in the range named."""


class BadArgument(ForecastError, ValueError):
    """An argument of a public name cannot be meant; give what the message says is accepted.

    argument, value, accepted : name of the argument, what was given, and what would do.
    """

    def __init__(self, argument: str, value: object, accepted: str) -> None:
        super().__init__(f"{argument}: {_shown(value)} is not accepted; give {accepted}")
        self.argument, self.value, self.accepted = argument, value, accepted

    def __reduce__(self) -> tuple[type[BadArgument], tuple[str, object, str]]:
        """Pass from one process to another."""
        return type(self), (self.argument, self.value, self.accepted)


def _shown(value: object) -> str:
    """Show a plain value itself, and anything larger by its type."""
    if value is None or isinstance(value, str | int | float):
        text = repr(value)
        return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}..."
    text = str(value)
    name = type(value).__name__
    return f"{name} {text}" if len(text) <= _LONGEST and "\n" not in text else f"a {name}"
