"""HTTP schemas of workload.

Which fields do the workload, the bench's plan and the outcomes of due pairs have?
"""

from __future__ import annotations

import datetime as dt
from typing import Any, Literal

from pydantic import Field, model_validator

from solespan.api.schemas.bench.shop import Hours
from solespan.api.schemas.fields import KnownId, PlainDate
from solespan.api.schemas.rack.records import Answer, Message
from solespan.forecast.workload import OUTCOMES

__all__ = [
    "BenchPlanAsked",
    "DueOutcomeGiven",
    "Plan",
    "Workload",
    "WorkloadFilters",
]

_MONTHS: Any = Field(default=12, ge=1, le=36, description="how far ahead. Unit: months")


class WorkloadFilters(Message):
    """How far to look, and in which steps."""

    months: int = _MONTHS
    by: Literal["week", "month"] = Field(
        default="month", description="length of the periods. Unit: none (word)"
    )
    benches: int | None = Field(
        default=None, ge=1, le=50, description="benches to compare with today's. Unit: benches"
    )


class Period(Answer):
    """One measure in one period: its mean and quantiles over the simulated years."""

    begins_on: dt.date = Field(description="first day. Unit: calendar date, ISO 8601")
    measure: str = Field(
        description="jobs, bench_hours (h), revenue_minor (minor unit of currency), "
        "open_hours (h of all benches), or use_<material> (pieces, m or ml). Unit: none (word)"
    )
    mean: float = Field(description="mean. Unit: that of the measure")
    p025: float = Field(description="2.5 % quantile. Unit: that of the measure")
    p10: float = Field(description="10 % quantile. Unit: that of the measure")
    p25: float = Field(description="25 % quantile. Unit: that of the measure")
    p50: float = Field(description="median. Unit: that of the measure")
    p75: float = Field(description="75 % quantile. Unit: that of the measure")
    p90: float = Field(description="90 % quantile. Unit: that of the measure")
    p975: float = Field(description="97.5 % quantile. Unit: that of the measure")


class Learnt(Answer):
    """What is believed of owners and strangers, and from how much."""

    come: float = Field(description="chance that a due pair is booked in. Unit: probability")
    no_show: float = Field(description="chance that a booked pair is missed. Unit: probability")
    median_delay_days: float = Field(description="median delay after the due date. Unit: d")
    outcomes: int = Field(description="due pairs learnt from; 0 = the prior. Unit: pairs")
    newcomer_months: int = Field(description="months of strangers learnt from. Unit: months")
    timed_jobs: int = Field(description="jobs with minutes learnt from. Unit: jobs")
    pairs: int = Field(description="pairs that are followed and counted. Unit: pairs")


class YearCounts(Answer):
    """Jobs of one year, as they are forecast in several ways."""

    said: float | None = Field(description="by the pairs alone. Unit: jobs")
    level: float | None = Field(description="by pairs and past counts together. Unit: jobs")
    last_year: float | None = Field(description="the year before. Unit: jobs")
    three_years: float | None = Field(description="mean of three years before. Unit: jobs")
    holt_winters: float | None = Field(
        description="by exponential smoothing of monthly counts. Unit: jobs"
    )


class YearAheadCounts(YearCounts):
    """The coming year."""

    half_years: int = Field(description="past half-years counted. Unit: half-years")


class PastYear(YearCounts):
    """A past year: what would have been forecast of it, and what came."""

    as_of: dt.date = Field(description="day before the year. Unit: calendar date, ISO 8601")
    came: int = Field(description="jobs that came. Unit: jobs")
    p10: float = Field(description="10 % quantile of the forecast. Unit: jobs")
    p90: float = Field(description="90 % quantile of the forecast. Unit: jobs")


class Spread(Answer):
    """A number over the simulated years."""

    mean: float = Field(description="mean. Unit: that of the number")
    p10: float = Field(description="10 % quantile. Unit: that of the number")
    p90: float = Field(description="90 % quantile. Unit: that of the number")


class Scenario(Answer):
    """One way to run the year."""

    name: str = Field(description="what is done. Unit: none (text)")
    jobs: Spread = Field(description="jobs of this time. Unit: jobs")
    brought_forward: Spread = Field(
        description="jobs of later years that asking could bring forward; not in jobs, hours or "
        "revenue. Unit: jobs"
    )
    worn_past_limit: Spread = Field(description="pairs brought after their limit. Unit: jobs")
    longest_wait_days: Spread = Field(description="longest wait for the bench. Unit: d")
    wait_days_p90: Spread = Field(description="wait that nine in ten stay under. Unit: d")
    idle_hours: Spread = Field(description="open hours without work. Unit: h")
    worked_hours: Spread = Field(description="hours worked. Unit: h")
    open_hours: Spread = Field(description="hours open. Unit: h")
    revenue_minor: Spread = Field(description="at list prices. Unit: minor unit of currency")


class BenchChoice(Scenario):
    """The year on so many benches, nobody asked for a day."""

    benches: int = Field(description="benches side by side. Unit: benches")
    weeks_over: float = Field(
        description="share of weeks that bring more work than the benches are open. Unit: share"
    )


class LeatherWeek(Answer):
    """Money tied up in leather at the beginning of a week, ordered as advised."""

    begins_on: dt.date = Field(description="the day. Unit: calendar date, ISO 8601")
    mean: float = Field(description="mean. Unit: minor unit of currency")
    p10: float = Field(description="10 % quantile. Unit: minor unit of currency")
    p90: float = Field(description="90 % quantile. Unit: minor unit of currency")


class Workload(Answer):
    """The work to come."""

    as_of: dt.date = Field(description="day it was made for. Unit: calendar date, ISO 8601")
    months: int = Field(description="how far it looks. Unit: months")
    years: int = Field(description="simulated futures behind it. Unit: years")
    currency: str = Field(description="ISO 4217 code of revenue. Unit: none (code)")
    total: list[Period] = Field(description="the whole time. Unit: none (list)")
    periods: list[Period] = Field(description="week by week or month by month. Unit: none (list)")
    learnt: Learnt = Field(description="what it is based on. Unit: none (object)")
    year: YearAheadCounts = Field(description="jobs of the coming year. Unit: none (object)")
    past_years: list[PastYear] = Field(
        description="forecasts of past years, the newest first. Unit: none (list)"
    )
    weeks_over: float = Field(
        description="share of weeks that bring more work than the benches are open. Unit: share"
    )
    benches: list[BenchChoice] = Field(
        description="today's bench and the one asked for; empty = none asked. Unit: none (list)"
    )
    leather: list[LeatherWeek] = Field(
        description="money in leather by week; empty = no cost or no stock. Unit: none (list)"
    )


class BenchPlanAsked(Message):
    """A plan to make, and another bench to compare it with."""

    months: int = _MONTHS
    benches: int | None = Field(
        default=None, ge=1, le=50, description="benches of the bench tried. Unit: benches"
    )
    hours_by_weekday: tuple[Hours, Hours, Hours, Hours, Hours, Hours, Hours] | None = Field(
        default=None, description="hours of the bench tried, Monday first. Unit: h"
    )
    price_factor: float = Field(
        default=1.0, gt=0, le=10, description="prices of the bench tried over the list. Unit: ratio"
    )
    demand_factor: float = Field(
        default=1.0, gt=0, le=1, description="share of jobs it would still get. Unit: ratio"
    )

    @model_validator(mode="after")
    def _open(self) -> BenchPlanAsked:
        if self.hours_by_weekday is not None and sum(self.hours_by_weekday) <= 0:
            raise ValueError("the bench must be open at some time in the week")
        return self


class Week(Answer):
    """Expected load of one week."""

    begins_on: dt.date = Field(description="first day. Unit: calendar date, ISO 8601")
    open_hours: float = Field(description="hours open. Unit: h")
    hours_as_asked_now: float = Field(description="work if asked on the send-by day. Unit: h")
    hours_levelled: float = Field(description="work if levelled. Unit: h")


class Levelling(Answer):
    """What levelling could move, and what it moves."""

    asked: int = Field(description="owners who are asked for a day. Unit: pairs")
    free: int = Field(
        description="of them, those who may be asked for an earlier week. Unit: pairs"
    )
    moved: int = Field(description="of them, those who are. Unit: pairs")
    carried_hours: float = Field(
        description="work carried over, summed over weeks, asked on the send-by day. Unit: h"
    )
    carried_hours_levelled: float = Field(description="the same, levelled. Unit: h")


class LeadWeek(Answer):
    """Wait and time away of pairs received in one week."""

    week_begins_on: dt.date = Field(description="Monday. Unit: calendar date, ISO 8601")
    jobs: float = Field(description="jobs received. Unit: jobs a simulated year")
    wait_days_mean: float = Field(description="mean wait for the bench. Unit: d")
    wait_days_p50: float = Field(description="median wait for the bench. Unit: d")
    wait_days_p90: float = Field(description="wait that nine in ten stay under. Unit: d")
    lead_days_mean: float = Field(description="mean time until it is back. Unit: d")
    lead_days_p10: float = Field(description="time until it is back, 10 % quantile. Unit: d")
    lead_days_p50: float = Field(description="time until it is back, median. Unit: d")
    lead_days_p90: float = Field(description="time until it is back, 90 % quantile. Unit: d")


class BenchPlannedPair(Answer):
    """When to ask, book and expect one pair."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    send_by: dt.date = Field(description="last day to hand over. Unit: calendar date, ISO 8601")
    ask_on: dt.date | None = Field(
        description="day to ask the owner for. Unit: calendar date, ISO 8601"
    )
    book_by: dt.date = Field(description="day to book by. Unit: calendar date, ISO 8601")
    back_on_p10: dt.date | None = Field(
        description="back by then, 10 % chance. Unit: calendar date, ISO 8601"
    )
    back_on_p50: dt.date | None = Field(
        description="back by then, 50 % chance. Unit: calendar date, ISO 8601"
    )
    back_on_p90: dt.date | None = Field(
        description="back by then, 90 % chance. Unit: calendar date, ISO 8601"
    )


class PlannedOrder(Answer):
    """When the bench is done with an order that is here."""

    order_id: str = Field(description="the order. Unit: none (identifier)")
    done_on_p50: dt.date = Field(
        description="done by then, 50 % chance. Unit: calendar date, ISO 8601"
    )
    done_on_p90: dt.date = Field(
        description="done by then, 90 % chance. Unit: calendar date, ISO 8601"
    )


class Plan(Answer):
    """The bench's year with and without levelling."""

    as_of: dt.date = Field(description="day it was made for. Unit: calendar date, ISO 8601")
    months: int = Field(description="how far it looks. Unit: months")
    scenarios: list[Scenario] = Field(description="ways to run the year. Unit: none (list)")
    weeks: list[Week] = Field(description="expected load. Unit: none (list)")
    levelling: Levelling | None = Field(
        default=None, description="what could move; null in older plans. Unit: none (object)"
    )
    lead_times: list[LeadWeek] = Field(description="by week of reception. Unit: none (list)")
    orders: list[PlannedOrder] = Field(
        description="orders here and not done, in the order of the bench. Unit: none (list)"
    )
    pairs: list[BenchPlannedPair] = Field(description="soonest first. Unit: none (list)")


class DueOutcomeGiven(Message):
    """What became of a pair that was due."""

    pair_id: KnownId = Field(description="the pair. Unit: none (identifier)")
    due_on: PlainDate = Field(
        description="day it was due, or of the notice about it. Unit: calendar date, ISO 8601"
    )
    outcome: Literal[OUTCOMES] = Field(description="what became of it. Unit: none (word)")  # type: ignore[valid-type]
    came_on: PlainDate | None = Field(
        default=None, description="day it came in, for came. Unit: calendar date, ISO 8601"
    )

    @model_validator(mode="after")
    def _with_day(self) -> DueOutcomeGiven:
        if (self.came_on is not None) != (self.outcome == "came"):
            raise ValueError("came_on is given exactly when the outcome is came")
        return self
