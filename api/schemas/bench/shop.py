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
from solespan.forecast.bench.rules import STEPS, BenchRules, Machine
from solespan.forecast.bench.standards import IN_WORK_PER_BENCH, SOURCE, STANDARDS
from solespan.forecast.bench.stock_days import LEATHER_USES
from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import WORKS

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


class YearlyDay(Message):
    """A day on which the shop is closed in every year."""

    month: int = Field(ge=1, le=12, description="month of the year. Unit: month")
    day: int = Field(ge=1, le=31, description="day of the month. Unit: day")


class SharedMachine(Message):
    """A machine that the benches share."""

    name: Annotated[str, StringConstraints(min_length=1, max_length=80)] = Field(
        description="what it is called. Unit: none (text)"
    )
    count: int = Field(default=1, ge=1, le=50, description="how many there are. Unit: machines")
    works: list[Work] = Field(
        min_length=1, max_length=len(WORKS), description="works that need it. Unit: none (list)"
    )
    steps: list[Literal[STEPS]] = Field(  # type: ignore[valid-type]
        default_factory=lambda: [STEPS[1]],
        min_length=1,
        max_length=len(STEPS),
        description="steps for which it is taken, whole. Unit: none (list)",
    )


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
    closed_every_year: list[YearlyDay] = Field(
        default_factory=lambda: [YearlyDay(month=1, day=1), YearlyDay(month=12, day=25)],
        max_length=60,
        description="days on which the shop is closed in every year, at first 1 January and "
        f"25 December; the default is {SOURCE}. Unit: none (list)",
    )
    benches: int = Field(default=1, ge=1, le=50, description="benches side by side. Unit: benches")
    in_work_limit: Annotated[int, Field(ge=0, le=500)] | None = Field(
        default=None,
        description="most jobs begun and not done, of all benches; 0 = no limit, null = "
        f"{IN_WORK_PER_BENCH} for each bench, {SOURCE}. Unit: jobs",
    )
    opens_at_hour: Annotated[float, Field(ge=0, lt=24)] = Field(
        default=9, description=f"when a day begins; the default is {SOURCE}. Unit: h after midnight"
    )
    drying_hours: dict[Work, Annotated[float, Field(ge=0, le=500)]] = Field(
        default_factory=lambda: {w: s.drying_hours for w, s in STANDARDS.items()},
        description="hours of the calendar that a work dries between its two steps, closed days "
        f"too; the default is {SOURCE}. Unit: h",
    )
    minutes: dict[Work, Annotated[float, Field(gt=0, le=10_000)]] = Field(
        default_factory=lambda: {w: s.minutes for w, s in STANDARDS.items()},
        title="Minutes of a usual pair",
        description="hands-on minutes of a usual pair by work; finished jobs correct them; the "
        f"default is {SOURCE}. Unit: min",
    )
    skills: list[list[Work]] = Field(
        default_factory=list,
        max_length=50,
        description="works that each bench does; a bench that is not listed does every work. "
        "Unit: none (list)",
    )
    machines: list[SharedMachine] = Field(
        default_factory=list,
        max_length=20,
        description=f"machines that the benches share; the default is none, {SOURCE}. "
        "Unit: none (list)",
    )
    turnaround_days: int = Field(
        default=14,
        ge=0,
        le=180,
        description="days within which a pair that comes is done where no day is promised; the "
        f"default is {SOURCE}. Unit: days",
    )
    post_weekdays: tuple[bool, bool, bool, bool, bool, bool, bool] = Field(
        default=(True, True, True, True, True, False, False),
        description="days on which parcels come and leave, Monday first; the default is "
        f"{SOURCE}. Unit: true or false",
    )
    post_share: Annotated[float, Field(ge=0, le=1)] = Field(
        default=0,
        description=f"share of the jobs that come by post; the default is {SOURCE}. Unit: share",
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
    pitch_tolerance_degrees: Annotated[float, Field(gt=0, le=20)] = Field(
        default=1.0, description=f"pitch may differ by this; default {SOURCE}. Unit: degrees"
    )
    stitches_tolerance_per_inch: Annotated[float, Field(gt=0, le=10)] = Field(
        default=0.5,
        description=f"stitches may differ by this; default {SOURCE}. Unit: stitches per inch",
    )

    def bench_hours(self) -> BenchHours:
        """Return the hours as the forecast library takes them."""
        closures = tuple(
            Closure(pd.Timestamp(c.first_on), pd.Timestamp(c.last_on), c.hours_per_day)
            for c in self.closures
        )
        return BenchHours(
            tuple(self.hours_by_weekday),
            closures,
            self.benches,
            self.opens_at_hour,
            tuple((one.month, one.day) for one in self.closed_every_year),
        )

    def bench_rules(self) -> BenchRules:
        """Return how work goes through the shop as the forecast library takes it."""
        return BenchRules(
            in_work_limit=self.in_work_limit,
            urgent_first=self.urgent_first,
            drying_hours=dict(self.drying_hours),
            skills=tuple(tuple(can) for can in self.skills),
            machines=tuple(Machine(tuple(m.works), tuple(m.steps), m.count) for m in self.machines),
            post_weekdays=tuple(self.post_weekdays),
            post_share=self.post_share,
        )

    @model_validator(mode="after")
    def _open_some_time(self) -> BenchSettings:
        if sum(self.hours_by_weekday) <= 0:
            raise ValueError("the bench must be open at some time in the week")
        try:
            self.bench_rules().places(self.benches)
        except BadHorizon as error:
            raise ValueError(str(error)) from error
        return self


BenchSettingsPatch = patch_model(BenchSettings)


class BenchSettingsStored(Answer):
    """The bench's settings and their version."""

    version: int = Field(description="counts the changes; 0 = the defaults. Unit: changes")
    settings: BenchSettings = Field(description="the choices. Unit: none (object)")
