"""HTTP schemas of quotes: which fields does a quote for a pair have?"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from solespan.api.schemas.rack.records import Answer
from solespan.forecast.bench.findings import LEADS_TO

__all__ = ["DefaultPage", "DefaultRow", "Finding", "Needed", "Quote", "StackLayer", "Way"]


class Needed(Answer):
    """One work the pair needs."""

    work: str = Field(description="kind of work. Unit: none (word)")
    why: str = Field(description="what shows it. Unit: none (text)")


class Finding(Answer):
    """What one part or point of the pair leads to."""

    part: str = Field(description="part or point. Unit: none (word)")
    state: str = Field(description="as found. Unit: none (word)")
    leads_to: Literal[LEADS_TO] = Field(description="what follows. Unit: none (word)")  # type: ignore[valid-type]
    work: str | None = Field(description="kind of work, if any. Unit: none (word)")
    why: str = Field(description="what shows it. Unit: none (text)")


class StackLayer(Answer):
    """One layer of the bottom."""

    part: str = Field(description="which layer. Unit: none (word)")
    material: str = Field(description="what it is made of. Unit: none (word)")
    new_mm: float | None = Field(description="thickness when new. Unit: mm")
    limit_mm: float | None = Field(description="renewed at; null = by its signs. Unit: mm")
    seam: str = Field(description="seam that holds it. Unit: none (word)")
    assumed: bool = Field(description="its thickness is a default. Unit: true or false")
    now_mm: float | None = Field(description="thickness read last; null = not read. Unit: mm")


class Way(Answer):
    """One way to repair the pair."""

    works: list[str] = Field(description="kinds of work. Unit: none (words)")
    why: list[str] = Field(description="what shows each. Unit: none (texts)")
    price_minor: int = Field(description="list price of all. Unit: minor unit of currency")
    minutes: float = Field(description="hands-on time, median. Unit: min")
    minutes_low: float = Field(description="10 % quantile, about. Unit: min")
    minutes_high: float = Field(description="90 % quantile, about. Unit: min")
    wear_days_bought: float = Field(
        description="until the first point is due after it, less the same before. Unit: wear days"
    )
    wear_days_low: float = Field(description="10 % quantile, about. Unit: wear days")
    wear_days_high: float = Field(description="90 % quantile, about. Unit: wear days")
    waiting_hours: float = Field(description="drying, by the calendar. Unit: h")
    uses: dict[str, float] = Field(description="materials. Unit: that of the stock book")
    soles_left: int = Field(description="new soles it can usually take after it. Unit: soles")


class DefaultRow(Answer):
    """One default of layers and works."""

    what: str = Field(description="what it is of. Unit: none (text)")
    value: float = Field(description="the number. Unit: that of `unit`")
    unit: str = Field(description="its unit. Unit: none (text)")
    origin: str = Field(description="where it is from. Unit: none (text)")


class DefaultPage(Answer):
    """Every default of layers and works."""

    items: list[DefaultRow] = Field(description="defaults. Unit: none (list)")
    next: str | None = Field(description="always null: all are listed. Unit: none (opaque text)")


class Quote(Answer):
    """What a pair needs and the ways to do it."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    currency: str = Field(description="ISO 4217 code of prices. Unit: none (code)")
    needed: list[Needed] = Field(description="works needed; empty = none yet. Unit: none (list)")
    findings: list[Finding] = Field(description="by part and point. Unit: none (list)")
    depends_on: list[str] = Field(
        description="to be seen before a price stands. Unit: none (texts)"
    )
    soles_left: int = Field(description="new soles it can usually take. Unit: soles")
    layers: list[StackLayer] = Field(description="from the foot down. Unit: none (list)")
    wear_days_left: dict[str, float] = Field(description="by point. Unit: wear days")
    alternatives: list[Way] = Field(description="cheapest wear day first. Unit: none (list)")
    chosen: Way | None = Field(
        description="the works asked for, done in one visit; null = none asked. Unit: none (object)"
    )
    minutes_from: str = Field(description="where the minutes come from. Unit: none (text)")
