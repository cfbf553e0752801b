"""Which fields do plans, habits, routes, care, cost and calendar addresses have over HTTP?"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints

from api.schemas.fields import KnownId, PlainDate
from api.schemas.records import Answer, Message
from forecast.frames import CONSTRUCTIONS, DRESS_CODES
from forecast.planning.care import CARES, UPPERS
from forecast.planning.routes import ABILITIES

__all__ = [
    "CareAsked",
    "CareDue",
    "CareLogged",
    "CareRuleAnswer",
    "CareRuleAsked",
    "CareRules",
    "DayReasons",
    "FeedState",
    "LifeOfRack",
    "PlanAsked",
    "PlanPage",
    "PlanShown",
    "RouteAnswer",
    "RouteAsked",
    "RoutesForPair",
    "RoutesOfOwner",
    "TraitsAnswer",
    "TraitsAsked",
    "WhatIfAnswer",
    "WhatIfAsked",
]

_Code: Any = Literal[(*DRESS_CODES, "none")]
_Care: Any = Literal[CARES]
_Upper: Any = Literal[UPPERS]
_Ability: Any = Literal[ABILITIES]
_Construction: Any = Literal[CONSTRUCTIONS]
_Month = Annotated[int, Field(ge=1, le=12)]
_Weight = Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)]
_Minor = Annotated[int, Field(ge=0, le=1_000_000_000)]
_Line = Annotated[str, StringConstraints(max_length=200, pattern=r"^[^\x00]*$")]
_Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]


def _f(meaning: str, unit: str, **more: Any) -> Any:
    return Field(description=f"{meaning}. Unit: {unit}", **more)


def _id(meaning: str, **more: Any) -> Any:
    return _f(meaning, "none (identifier)", **more)


def _date(meaning: str, **more: Any) -> Any:
    return _f(meaning, "calendar date, ISO 8601", **more)


def _text(meaning: str, **more: Any) -> Any:
    return _f(meaning, "none (text)", **more)


class HabitAsked(Message):
    """One habit to try."""

    kind: Literal["pace", "retire", "trip"] = _f("what changes", "none (word)")
    pair_id: KnownId | None = _id("the pair, of a pace or retirement", default=None)
    pair_ids: list[KnownId] | None = _id("the pairs taken on a trip", default=None, max_length=120)
    wears_per_week: float | None = _f(
        "how often", "wear days per week", default=None, ge=0, le=7, allow_inf_nan=False
    )
    since: PlainDate | None = _date("first day; none = at once", default=None)
    until: PlainDate | None = _date("last day; none = no end", default=None)


class WhatIfAsked(Message):
    """Habits or a plan to forecast a rack under."""

    wearer_id: KnownId = _id("whose rack")
    habits: list[HabitAsked] = _f(
        "later ones stand over earlier ones", "none (list)", default_factory=list, max_length=50
    )
    rest_days: int | None = _f(
        "full days of rest after wear; none = as at present", "d", default=None, ge=0, le=6
    )
    plan_id: KnownId | None = _id("a stored plan that is followed", default=None)


class WhatIfRow(Answer):
    """One pair as things are and as they would be."""

    pair_id: str = _id("the pair")
    label: str | None = _text("what the owner calls it")
    due_p10_now: dt.date | None = _date("10 % quantile of the due date as things are")
    due_p10_then: dt.date | None = _date("the same under the habits")
    due_p50_now: dt.date | None = _date("median due date as things are")
    due_p50_then: dt.date | None = _date("the same under the habits")
    due_p90_now: dt.date | None = _date("90 % quantile as things are")
    due_p90_then: dt.date | None = _date("the same under the habits")
    send_by_now: dt.date | None = _date("send-by date as things are")
    send_by_then: dt.date | None = _date("the same under the habits")
    book_by_now: dt.date | None = _date("book-by date as things are")
    book_by_then: dt.date | None = _date("the same under the habits")
    chance_90d_now: float = _f("chance of being due within 90 days", "probability")
    chance_90d_then: float = _f("the same under the habits", "probability")
    chance_180d_now: float = _f("chance of being due within 180 days", "probability")
    chance_180d_then: float = _f("the same under the habits", "probability")
    chance_365d_now: float = _f("chance of being due within 365 days", "probability")
    chance_365d_then: float = _f("the same under the habits", "probability")
    wear_days_365d_now: float = _f("expected within 365 days", "wear days")
    wear_days_365d_then: float = _f("the same under the habits", "wear days")


class WhatIfAnswer(Answer):
    """A rack's forecasts, side by side."""

    wearer_id: str = _id("whose rack")
    as_of: dt.date = _date("day of the forecast")
    items: list[WhatIfRow] = _f("by pair", "none (list)")


class OccasionAsked(Message):
    """A dated day that differs from the week."""

    on: PlainDate = _date("the day")
    dress_code: _Code | None = _f(
        "its dress code; none = no pair is worn", "none (word)", default=None
    )
    pair_id: KnownId | None = _id("the pair reserved for it", default=None)
    wet: bool = _f("wet ground is expected", "true or false", default=False)
    name: _Line = _text("what it is", default="")


class PlanAsked(Message):
    """Wishes for a plan; what is left out takes the trade's usual value."""

    wearer_id: KnownId = _id("whose rack")
    starts_on: PlainDate | None = _date("first day; none = tomorrow", default=None)
    again: KnownId | None = _id("a stored plan to keep where it can be kept", default=None)
    weeks: int = _f("how many weeks", "weeks", default=26, ge=1, le=60)
    week: list[_Code] | None = _f(
        "dress code by weekday, Monday first",
        "none (words)",
        default=None,
        min_length=7,
        max_length=7,
    )
    occasions: list[OccasionAsked] = _f(
        "dated days", "none (list)", default_factory=list, max_length=200
    )
    rest_days: int = _f("full days of rest after wear", "d", default=1, ge=0, le=6)
    rest_days_wet: int = _f("the same after a wet day", "d", default=2, ge=0, le=6)
    most_away: int = _f("pairs at the bench at once", "pairs", default=2, ge=0, le=50)
    budget_minor_per_quarter: _Minor | None = _f(
        "for new soles", "minor unit of currency", default=None
    )
    wear: Literal["even", "uneven"] = _f("how wear is shared", "none (word)", default="even")
    weights: dict[KnownId, _Weight] = _f(
        "preference by pair, 0 to 10; 1 if not named",
        "none (number)",
        default_factory=dict,
        max_length=120,
    )
    earliest_share: float = _f(
        "share of what is left on a sole that is worn before it is sent",
        "fraction",
        default=0.5,
        ge=0,
        le=1,
        allow_inf_nan=False,
    )


class PlannedDay(Answer):
    """One day of a plan."""

    worn_on: dt.date = _date("the day")
    dress_code: str = _f("its dress code", "none (word)")
    pair_id: str | None = _id("the pair worn; null = none")
    reserved: bool = _f("a pair is reserved for it", "true or false")


class PlannedSend(Answer):
    """One hand-over of a plan."""

    pair_id: str = _id("the pair")
    send_on: dt.date = _date("the day it is handed over")
    back_on: dt.date = _date("the day it is counted back")
    price_minor: int = _f("price of the route", "minor unit of currency")
    wears_before: int = _f("wears in the plan before it", "wear days")


class PlannedPair(Answer):
    """What a plan does with one pair, and why."""

    pair_id: str = _id("the pair")
    label: str = _text("what the owner calls it")
    wears: int = _f("wears in the plan", "wear days")
    share: int = _f("wears that were its share", "wear days")
    wear_days_left: int = _f("left on its sole at the end, at the risk", "wear days")
    reason: str = _text("why, in sentences")


class GivenUpWish(Answer):
    """One wish that the plan gives up."""

    kind: str = _f("which kind of wish", "none (words)")
    on: dt.date = _date("the day it concerns, or the first of them")
    sentence: str = _text("what is given up")


class PlanSummary(Answer):
    """One stored plan in a list."""

    plan_id: str = _id("the plan")
    wearer_id: str = _id("whose rack")
    made_at: dt.datetime = _f("when it was made", "instant, ISO 8601 with offset")
    starts_on: dt.date = _date("first day")
    weeks: int = _f("how many weeks", "weeks")
    score: float = _f(
        "wears within a pair's share, less the costs of sends and wishes", "wear days"
    )
    bound: float = _f("no plan of these wishes scores more", "wear days")
    gap: float = _f("how far the score is from the bound", "fraction of the bound")
    fewest_proven: bool = _f("no plan gives up fewer wishes", "true or false")
    given_up: list[GivenUpWish] = _f("wishes given up", "none (list)")


class PlanShown(PlanSummary):
    """One stored plan."""

    days: list[PlannedDay] = _f("day by day", "none (list)")
    sends: list[PlannedSend] = _f("hand-overs by date", "none (list)")
    pairs: list[PlannedPair] = _f("pair by pair", "none (list)")


class PlanPage(Answer):
    """The newest plans of an owner."""

    items: list[PlanSummary] = _f("newest first", "none (list)")


class DayReason(Answer):
    """Why one pair is worn on a day, or not."""

    pair_id: str = _id("the pair")
    worn: bool = _f("worn that day", "true or false")
    reason: str = _text("why")


class DayReasons(Answer):
    """Why each pair is worn on a day, or not."""

    plan_id: str = _id("the plan")
    on: dt.date = _date("the day")
    items: list[DayReason] = _f("by pair", "none (list)")


class RouteAsked(Message):
    """One way to a new sole, as its owner knows it."""

    name: Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[^\x00]*$")] = (
        _text("what it is called")
    )
    wait_days: int = _f("wait for a free place", "d", ge=0, le=730)
    lead_days_p50: int = _f("median from handing over to having it back", "d", ge=1, le=730)
    lead_days_p90: int = _f("90 % quantile of the same", "d", ge=1, le=730)
    price_minor: _Minor = _f("full sole and heel, posting included", "minor unit of currency")
    currency: _Currency = _f("ISO 4217 code", "none (text)", default="EUR")
    rewelt_price_minor: _Minor = _f("added for a new welt", "minor unit of currency", default=0)
    abilities: list[_Ability] = _f("what it can do", "none (words)", default_factory=list)
    constructions: list[_Construction] = _f(
        "constructions it takes; empty = all", "none (words)", default_factory=list
    )
    loses: _Line = _text("what is lost by it", default="")


class RouteAnswer(Answer):
    """One way to a new sole as stored, or the default."""

    route_id: str = _id("the route")
    name: str = _text("what it is called")
    wait_days: int = _f("wait for a free place", "d")
    lead_days_p50: int = _f("median from handing over to having it back", "d")
    lead_days_p90: int = _f("90 % quantile of the same", "d")
    price_minor: int = _f("full sole and heel", "minor unit of currency")
    currency: str = _f("ISO 4217 code", "none (text)")
    rewelt_price_minor: int = _f("added for a new welt", "minor unit of currency")
    abilities: list[str] = _f("what it can do", "none (words)")
    constructions: list[str] = _f("constructions it takes; empty = all", "none (words)")
    loses: str = _text("what is lost by it")
    edited: bool = _f("the owner changed it", "true or false")
    source: str = _text("where its numbers are from")


class RoutesOfOwner(Answer):
    """An owner's routes."""

    items: list[RouteAnswer] = _f("by route", "none (list)")


class RouteCompared(Answer):
    """One route for one pair."""

    route_id: str = _id("the route")
    name: str = _text("what it is called")
    can_do: bool = _f("it can do what the pair needs", "true or false")
    lacks: str = _text("what it cannot do")
    price_minor: int = _f("price for this pair", "minor unit of currency")
    currency: str = _f("ISO 4217 code", "none (text)")
    book_by: dt.date = _date("day to ask for a place")
    hand_over_on: dt.date = _date("day to hand it over")
    back_on_p50: dt.date = _date("median day it is back")
    back_on_p90: dt.date = _date("90 % quantile of the same")
    weeks_away_p50: float = _f("median time away", "weeks")
    chance_back: float | None = _f("chance that it is there for the occasion", "probability")
    latest_send_on: dt.date | None = _date("last day to send it for the occasion")
    loses: str = _text("what is lost by it")
    sentence: str = _text("the same in words")
    edited: bool = _f("the owner changed its numbers", "true or false")


class RoutesForPair(Answer):
    """An owner's routes compared for one pair."""

    pair_id: str = _id("the pair")
    as_of: dt.date = _date("today")
    send_by: dt.date | None = _date("send-by date; null = beyond the horizon")
    needs: list[str] = _text("what the work must be")
    items: list[RouteCompared] = _f("able and cheapest first", "none (list)")


class TraitsAsked(Message):
    """What planning is told of a pair."""

    upper: _Upper = _f("upper leather", "none (word)", default="smooth_calf")
    months: list[_Month] = _f(
        "months when it may be worn; empty = all", "months", default_factory=list, max_length=12
    )
    weight: _Weight = _f("preference, 1 = usual", "none (number)", default=1.0)
    route_id: KnownId | None = _id("its own route; null = the cheapest able", default=None)


class TraitsAnswer(Answer):
    """What planning knows of a pair."""

    pair_id: str = _id("the pair")
    upper: str = _f("upper leather", "none (word)")
    months: list[int] = _f("months when it may be worn; empty = all", "months")
    weight: float = _f("preference, 1 = usual", "none (number)")
    route_id: str | None = _id("its own route")


class CareRow(Answer):
    """One care that is due on one pair."""

    pair_id: str = _id("the pair")
    label: str | None = _text("what the owner calls it")
    care: str = _f("kind of care", "none (word)")
    upper: str = _f("upper leather", "none (word)")
    what: str = _text("what to do")
    since: dt.date = _date("due since")
    reason: str = _text("why")


class CareDue(Answer):
    """The care that is due on a rack."""

    wearer_id: str = _id("whose rack")
    as_of: dt.date = _date("today")
    items: list[CareRow] = _f("longest due first", "none (list)")


class CareAsked(Message):
    """A care that was done."""

    pair_id: KnownId = _id("the pair")
    care: _Care = _f("kind of care", "none (word)")
    done_on: PlainDate | None = _date("the day; none = today", default=None)


class CareLogged(Answer):
    """A care as logged."""

    pair_id: str = _id("the pair")
    care: str = _f("kind of care", "none (word)")
    done_on: dt.date = _date("the day")
    new: bool = _f("it was not logged before", "true or false")


class CareRuleAsked(Message):
    """When one kind of care is due; without conditions never."""

    every_wears: int | None = _f("after so many wears", "wear days", default=None, ge=1, le=3650)
    after_wet: bool = _f("after wet wear", "true or false", default=False)
    every_days: int | None = _f("after so many days of use", "d", default=None, ge=1, le=3650)
    months: list[_Month] = _f(
        "only in these months; empty = all", "months", default_factory=list, max_length=12
    )
    within_days: int | None = _f(
        "not asked for when the last wear is longer ago", "d", default=None, ge=0, le=3650
    )


class CareRuleAnswer(Answer):
    """One care rule."""

    upper: str = _f("upper leather", "none (word)")
    care: str = _f("kind of care", "none (word)")
    every_wears: int | None = _f("after so many wears", "wear days")
    after_wet: bool = _f("after wet wear", "true or false")
    every_days: int | None = _f("after so many days of use", "d")
    months: list[int] = _f("only in these months; empty = all", "months")
    within_days: int | None = _f("not asked for when the last wear is longer ago", "d")
    edited: bool = _f("the owner changed it", "true or false")
    source: str = _text("where it is from")


class CareRules(Answer):
    """An owner's care rules."""

    items: list[CareRuleAnswer] = _f("by upper and care", "none (list)")


class LifeRow(Answer):
    """What one pair costs, and whether its next sole is worth it."""

    pair_id: str = _id("the pair")
    label: str | None = _text("what the owner calls it")
    currency: str = _f("ISO 4217 code; mixed = several", "none (text)")
    wears: int = _f("so far", "wear days")
    price_minor: float | None = _f("price paid", "minor unit of currency")
    repairs_minor: float | None = _f("repairs so far", "minor unit of currency")
    cost_per_wear_minor: float | None = _f("so far", "minor unit of currency per wear day")
    resoles: int = _f("so far", "resoles")
    resoles_left: int = _f("that welt and upper stand", "resoles")
    wears_per_year: float | None = _f("at the present pace", "wear days per year")
    soles_per_year: float | None = _f("at the present pace", "soles per year")
    cost_per_year_minor: float | None = _f("new soles", "minor unit of currency per year")
    resole_cost_per_wear_minor: float = _f(
        "of the next sole", "minor unit of currency per wear day"
    )
    replace_cost_per_wear_minor: float | None = _f(
        "of a new pair over its soles", "minor unit of currency per wear day"
    )
    advice: str = _f("resole, last sole, retire, retired or unknown", "none (words)")
    arithmetic: str = _text("how that is reckoned")
    due_p50: dt.date | None = _date("median due date")


class LifeOfRack(Answer):
    """What a rack costs."""

    wearer_id: str = _id("whose rack")
    as_of: dt.date = _date("today")
    cost_per_year_minor: int = _f("new soles of the whole rack", "minor unit of currency per year")
    source: str = _text("where the numbers are from")
    items: list[LifeRow] = _f("by pair", "none (list)")


class FeedState(Answer):
    """An owner's calendar address."""

    wearer_id: str = _id("whose calendar")
    made_at: dt.datetime | None = _f("since when; null = none", "instant, ISO 8601 with offset")
    path: str | None = _text("the secret address, shown only when it is made")
