"""HTTP schemas of planning.

Which fields do plans, habits to try and calendar addresses have over HTTP?
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from solespan.api.schemas.fields import KnownId, PlainDate
from solespan.api.schemas.planning.planning_fields import (
    Line,
    Minor,
    Weight,
    date_field,
    field,
    id_field,
    text_field,
)
from solespan.api.schemas.rack.records import Answer, Message
from solespan.forecast.frames import DRESS_CODES
from solespan.forecast.planning import CONDITION_NAMES
from solespan.forecast.planning.wishes import WEARS

__all__ = [
    "DayReasons",
    "FeedState",
    "PlanAsked",
    "PlanPage",
    "PlanShown",
    "WhatIfAnswer",
    "WhatIfAsked",
]

_Wears = Annotated[float, Field(ge=0, le=7, allow_inf_nan=False)]
_Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
_Code: Any = Literal[(*DRESS_CODES, "none")]
_Condition: Any = Literal[tuple(CONDITION_NAMES)]


class _Habit(Message):
    """A habit to try; a null field counts as left out."""

    @model_validator(mode="before")
    @classmethod
    def _given(cls, values: Any) -> Any:
        return (
            {k: v for k, v in values.items() if v is not None}
            if isinstance(values, dict)
            else values
        )

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        since, until = getattr(self, "since", None), getattr(self, "until", None)
        if since is not None and until is not None and until < since:
            raise ValueError("until is before since")
        return self


class PaceAsked(_Habit):
    """A pair is worn so many times a week."""

    kind: Literal["pace"] = field("what changes", "none (word)")
    pair_id: KnownId = id_field("the pair")
    wears_per_week: _Wears = field("how often", "wear days per week")
    since: PlainDate | None = date_field("first day; none = at once", default=None)
    until: PlainDate | None = date_field("last day; none = no end", default=None)


class RetireAsked(_Habit):
    """A pair is worn no more."""

    kind: Literal["retire"] = field("what changes", "none (word)")
    pair_id: KnownId = id_field("the pair")
    since: PlainDate | None = date_field("first day; none = at once", default=None)


class TripAsked(_Habit):
    """Only some pairs are along from a day until a day."""

    kind: Literal["trip"] = field("what changes", "none (word)")
    pair_ids: list[KnownId] = field("the pairs taken", "none (list)", min_length=1, max_length=120)
    since: PlainDate = date_field("first day")
    until: PlainDate = date_field("last day")
    wears_per_week: _Wears = field("how often, all together", "wear days per week", default=7.0)


class ConditionAsked(_Habit):
    """A share of a pair's wear days has a condition."""

    kind: Literal["condition"] = field("what changes", "none (word)")
    pair_id: KnownId = id_field("the pair")
    condition: _Condition = field("what the days have", "none (word)")
    share: _Share = field("how many of the wear days have the condition", "share of wear days")
    since: PlainDate | None = date_field("first day; none = at once", default=None)
    until: PlainDate | None = date_field("last day; none = no end", default=None)


HabitAsked = Annotated[
    PaceAsked | RetireAsked | TripAsked | ConditionAsked, Field(discriminator="kind")
]


class WhatIfAsked(Message):
    """Habits or a plan to forecast a rack under."""

    wearer_id: KnownId = id_field("whose rack")
    habits: list[HabitAsked] = field(
        "later ones replace earlier ones", "none (list)", default_factory=list, max_length=50
    )
    rest_days: int | None = field(
        "full days of rest after wear; none = as at present", "d", default=None, ge=0, le=6
    )
    plan_id: KnownId | None = id_field("a stored plan that is followed", default=None)


class WhatIfRow(Answer):
    """One pair as things are and as they would be."""

    pair_id: str = id_field("the pair")
    label: str | None = text_field("what the owner calls it")
    due_p10_now: dt.date | None = date_field("10 % quantile of the due date as things are")
    due_p10_then: dt.date | None = date_field("the same under the habits")
    due_p50_now: dt.date | None = date_field("median due date as things are")
    due_p50_then: dt.date | None = date_field("the same under the habits")
    due_p90_now: dt.date | None = date_field("90 % quantile as things are")
    due_p90_then: dt.date | None = date_field("the same under the habits")
    send_by_now: dt.date | None = date_field("send-by date as things are")
    send_by_then: dt.date | None = date_field("the same under the habits")
    book_by_now: dt.date | None = date_field("book-by date as things are")
    book_by_then: dt.date | None = date_field("the same under the habits")
    chance_90d_now: float = field("chance of being due within 90 days", "probability")
    chance_90d_then: float = field("the same under the habits", "probability")
    chance_180d_now: float = field("chance of being due within 180 days", "probability")
    chance_180d_then: float = field("the same under the habits", "probability")
    chance_365d_now: float = field("chance of being due within 365 days", "probability")
    chance_365d_then: float = field("the same under the habits", "probability")
    wear_days_365d_now: float = field("expected within 365 days", "wear days")
    wear_days_365d_then: float = field("the same under the habits", "wear days")


class WhatIfAnswer(Answer):
    """A rack's forecasts, side by side."""

    wearer_id: str = id_field("whose rack")
    as_of: dt.date = date_field("day of the forecast")
    items: list[WhatIfRow] = field("by pair", "none (list)")


class OccasionAsked(Message):
    """A dated day that differs from the week."""

    on: PlainDate = date_field("the day")
    dress_code: _Code | None = field(
        "its dress code; none = no pair is worn", "none (word)", default=None
    )
    pair_id: KnownId | None = id_field("the pair reserved for it", default=None)
    wet: bool = field("wet ground is expected", "true or false", default=False)
    name: Line = text_field("what it is", default="")


_Level = Annotated[int, Field(ge=0, le=4)]


class AimsAsked(Message):
    """What a plan aims at: each from 0 (it does not matter) to 4 (it matters most)."""

    even: _Level = field("wear shared as the shares say", "level", default=2)
    spread: _Level = field("few new soles in one quarter", "level", default=2)
    cost: _Level = field("few soles, none with much left on it", "level", default=2)
    occasions: _Level = field("a reserved pair is there on its day", "level", default=2)
    best: _Level = field("preferences count, and who is kept for best", "level", default=2)


class PlanAsked(Message):
    """Wishes for a plan; what is left out takes the trade's usual value."""

    wearer_id: KnownId = id_field("whose rack")
    starts_on: PlainDate | None = date_field("first day; none = tomorrow", default=None)
    again: KnownId | None = id_field("a stored plan to keep where it can be kept", default=None)
    weeks: int = field("how many weeks", "weeks", default=26, ge=1, le=60)
    week: list[_Code] | None = field(
        "dress code by weekday, Monday first",
        "none (words)",
        default=None,
        min_length=7,
        max_length=7,
    )
    occasions: list[OccasionAsked] = field(
        "dated days", "none (list)", default_factory=list, max_length=200
    )
    rest_days: int = field("full days of rest after wear", "d", default=1, ge=0, le=6)
    rest_days_wet: int = field("the same after a wet day", "d", default=2, ge=0, le=6)
    most_away: int = field("pairs at the bench at once", "pairs", default=2, ge=0, le=50)
    budget_minor_per_quarter: Minor | None = field(
        "for new soles", "minor unit of currency", default=None
    )
    wear: Literal[WEARS] | None = field(  # type: ignore[valid-type]
        "how wear is shared; none = as now where no week is given, else even",
        "none (word)",
        default=None,
    )
    weights: dict[KnownId, Weight] = field(
        "preference by pair, 0 to 10; 1 if not named",
        "none (number)",
        default_factory=dict,
        max_length=120,
    )
    aims: AimsAsked = field("what the plan aims at", "levels", default_factory=AimsAsked)
    earliest_share: float = field(
        "share of what is left on a sole that is worn before it is sent",
        "fraction",
        default=0.5,
        ge=0,
        le=1,
        allow_inf_nan=False,
    )


class PlannedDay(Answer):
    """One day of a plan."""

    worn_on: dt.date = date_field("the day")
    dress_code: str = field("its dress code", "none (word)")
    pair_id: str | None = id_field("the pair worn; null = none")
    reserved: bool = field("a pair is reserved for it", "true or false")


class PlannedSend(Answer):
    """One hand-over of a plan."""

    pair_id: str = id_field("the pair")
    send_on: dt.date = date_field("the day it is handed over")
    back_on: dt.date = date_field("the day it is due back")
    price_minor: int = field("price of the route", "minor unit of currency")
    wears_before: int = field("wears in the plan before it", "wear days")


class PlannedPair(Answer):
    """What a plan does with one pair, and why."""

    pair_id: str = id_field("the pair")
    label: str = text_field("what the owner calls it")
    wears: int = field("wears in the plan", "wear days")
    share: int = field("wears that were its share", "wear days")
    wear_days_left: int = field("left on its sole at the end, at the risk", "wear days")
    reason: str = text_field("why, in sentences")


class GivenUpWish(Answer):
    """One wish that the plan gives up."""

    kind: str = field("which kind of wish", "none (words)")
    on: dt.date = date_field("the day it concerns, or the first of them")
    sentence: str = text_field("what is given up")


class PlanSummary(Answer):
    """One stored plan in a list."""

    plan_id: str = id_field("the plan")
    wearer_id: str = id_field("whose rack")
    made_at: dt.datetime = field("when it was made", "instant, ISO 8601 with offset")
    starts_on: dt.date = date_field("first day")
    weeks: int = field("how many weeks", "weeks")
    score: float = field(
        "wears within a pair's share, less the costs of sends and wishes", "wear days"
    )
    bound: float = field("no plan of these wishes scores more", "wear days")
    gap: float = field("how far the score is from the bound", "fraction of the bound")
    fewest_proven: bool = field("no plan gives up fewer wishes", "true or false")
    given_up: list[GivenUpWish] = field("wishes given up", "none (list)")


class PlanShown(PlanSummary):
    """One stored plan."""

    aim: str = text_field("what the plan aims at")
    trade: str = text_field("what it gave up for that, beside the wishes it names")
    days: list[PlannedDay] = field("day by day", "none (list)")
    sends: list[PlannedSend] = field("hand-overs by date", "none (list)")
    pairs: list[PlannedPair] = field("pair by pair", "none (list)")


class PlanPage(Answer):
    """The newest plans of an owner."""

    items: list[PlanSummary] = field("newest first", "none (list)")


class DayReason(Answer):
    """Why one pair is worn on a day, or not."""

    pair_id: str = id_field("the pair")
    worn: bool = field("worn that day", "true or false")
    reason: str = text_field("why")


class DayReasons(Answer):
    """Why each pair is worn on a day, or not."""

    plan_id: str = id_field("the plan")
    on: dt.date = date_field("the day")
    items: list[DayReason] = field("by pair", "none (list)")


class FeedState(Answer):
    """An owner's calendar address."""

    wearer_id: str = id_field("whose calendar")
    made_at: dt.datetime | None = field("since when; null = none", "instant, ISO 8601 with offset")
    path: str | None = text_field("the secret address, shown only when it is made")
