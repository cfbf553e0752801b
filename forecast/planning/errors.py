"""Errors of planning: what can be wrong with a plan that someone asks for?"""

from __future__ import annotations

from solespan.forecast.errors import ForecastError

__all__ = ["BadPlan"]


class BadPlan(ForecastError):
    """A plan, habit, route or rule asked for cannot be meant; correct the field named.

    Parameters
    ----------
    what : str
        What is wrong, one sentence.
    field : str
        The field of the request.
    accepted : str
        What would have been accepted.
    """

    def __init__(self, what: str, *, field: str = "", accepted: str = "") -> None:
        super().__init__(f"{what} Accepted: {accepted}." if accepted else what)
        self.what = what
        self.field = field
        self.accepted = accepted
