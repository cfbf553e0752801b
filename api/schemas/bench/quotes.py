"""HTTP schemas of quotes: which fields does a quote for a pair have?"""

from __future__ import annotations

from pydantic import Field

from solespan.api.schemas.rack.records import Answer

__all__ = ["Needed", "Quote", "Way"]


class Needed(Answer):
    """One work the pair needs."""

    work: str = Field(description="kind of work. Unit: none (word)")
    why: str = Field(description="what shows it. Unit: none (text)")


class Way(Answer):
    """One way to repair the pair."""

    works: list[str] = Field(description="kinds of work. Unit: none (words)")
    why: list[str] = Field(description="what shows each. Unit: none (texts)")
    price_minor: int = Field(description="list price of all. Unit: minor unit of currency")
    minutes: float = Field(description="hands-on time, median. Unit: min")
    minutes_low: float = Field(description="10 % quantile, about. Unit: min")
    minutes_high: float = Field(description="90 % quantile, about. Unit: min")
    wear_days_bought: float = Field(description="standard wear days it adds. Unit: wear days")


class Quote(Answer):
    """What a pair needs and the ways to do it."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    currency: str = Field(description="ISO 4217 code of prices. Unit: none (code)")
    needed: list[Needed] = Field(description="works needed; empty = none yet. Unit: none (list)")
    wear_days_left: dict[str, float] = Field(description="by point. Unit: wear days")
    alternatives: list[Way] = Field(description="cheapest wear day first. Unit: none (list)")
    minutes_from: str = Field(description="where the minutes come from. Unit: none (text)")
