"""HTTP schemas of shop.

Which choices does a shop make for its bench, and what are they when it makes none?
"""

from __future__ import annotations

from typing import Annotated, Literal

import pandas as pd
from pydantic import Field, StringConstraints, model_validator

from solespan.api.schemas.fields import PlainDate
from solespan.api.schemas.merge_patch import patch_model
from solespan.api.schemas.rack.records import Answer, Message
from solespan.forecast.bench.hours import BenchHours, Closure
from solespan.forecast.bench.standards import SOURCE, STANDARDS
from solespan.forecast.frames import WORKS
from solespan.forecast.workload.leather import LEATHER_USES

__all__ = ["BenchSettings", "BenchSettingsPatch", "BenchSettingsStored", "Hours"]

Work = Literal[WORKS]  # type: ignore[valid-type]
LeatherUse = Literal[LEATHER_USES]  # type: ignore[valid-type]
Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
Hours = Annotated[float, Field(ge=0, le=24)]


class ClosedDays(Message):
    """A holiday or leave."""

    first_on: PlainDate = Field(description="first day. Unit: calendar date, ISO 8601")
    last_on: PlainDate = Field(description="last day. Unit: calendar date, ISO 8601")
    hours_per_day: Hours = Field(default=0, description="hours still worked. Unit: h")

    @model_validator(mode="after")
    def _in_order(self) -> ClosedDays:
        if self.last_on < self.first_on:
            raise ValueError("last_on is before first_on")
        return self


class BenchSettings(Message):
    """The bench's hours, prices and tolerances."""

    currency: Currency = Field(
        default="EUR", description="ISO 4217 code of all prices. Unit: none (code)"
    )
    hours_by_weekday: tuple[Hours, Hours, Hours, Hours, Hours, Hours, Hours] = Field(
        default=(7, 7, 7, 7, 7, 0, 0), description="open hours, Monday first. Unit: h"
    )
    closures: list[ClosedDays] = Field(
        default_factory=list, max_length=400, description="holidays and leave. Unit: none (list)"
    )
    benches: int = Field(default=1, ge=1, le=50, description="benches side by side. Unit: benches")
    in_work_limit: int = Field(
        default=6, ge=0, le=500, description="most jobs begun and not done; 0 = none. Unit: jobs"
    )
    urgent_first: bool = Field(
        default=False, description="pairs past their limit go first. Unit: true or false"
    )
    most_weeks_early: int = Field(
        default=12, ge=0, le=52, description="how far owners may be asked early. Unit: weeks"
    )
    price_minor: dict[Work, Annotated[int, Field(ge=0, le=10**9)]] = Field(
        default_factory=lambda: {w: s.price_minor for w, s in STANDARDS.items()},
        description=f"price list by work; the default is {SOURCE}. Unit: minor unit of currency",
    )
    leather_cost_minor: dict[LeatherUse, Annotated[int, Field(ge=0, le=10**9)]] = Field(
        default_factory=dict,
        description="what a pair of soles or a metre of welt costs the shop; without it no money "
        "in leather is told. Unit: minor unit of currency",
    )
    width_tolerance_mm: Annotated[float, Field(gt=0, le=10)] = Field(
        default=0.5, description=f"widths may differ by this; default {SOURCE}. Unit: mm"
    )
    thickness_tolerance_mm: Annotated[float, Field(gt=0, le=10)] = Field(
        default=0.3, description=f"thicknesses may differ by this; default {SOURCE}. Unit: mm"
    )

    def bench_hours(self) -> BenchHours:
        """Return the hours as the forecast library takes them."""
        closures = tuple(
            Closure(pd.Timestamp(c.first_on), pd.Timestamp(c.last_on), c.hours_per_day)
            for c in self.closures
        )
        return BenchHours(tuple(self.hours_by_weekday), closures, self.benches)

    @model_validator(mode="after")
    def _open_some_time(self) -> BenchSettings:
        if sum(self.hours_by_weekday) <= 0:
            raise ValueError("the bench must be open at some time in the week")
        return self


BenchSettingsPatch = patch_model(BenchSettings)


class BenchSettingsStored(Answer):
    """The bench's settings and their version."""

    version: int = Field(description="counts the changes; 0 = the defaults. Unit: changes")
    settings: BenchSettings = Field(description="the choices. Unit: none (object)")
