"""HTTP schemas of resole options.

Which fields do ways to a new sole, pair traits and the cost of a rack have over HTTP?
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, field_validator, model_validator

from solespan.api.schemas.fields import KnownId, NewId
from solespan.api.schemas.merge_patch import patch_model
from solespan.api.schemas.planning.planning_fields import (
    Currency,
    Line,
    Minor,
    Month,
    Weight,
    date_field,
    field,
    id_field,
    text_field,
)
from solespan.api.schemas.rack.records import Answer, Message
from solespan.forecast.bench.standards import SOURCE
from solespan.forecast.frames import CONSTRUCTIONS
from solespan.forecast.planning.care import UPPERS
from solespan.forecast.planning.resole_options import ABILITIES, DEFAULT_ROUTES
from solespan.forecast.planning.verdict import NEXT_SOLES, VERDICTS

__all__ = [
    "LifeOfRack",
    "LifeSettingsAsked",
    "LifeSettingsPatch",
    "LifeSettingsStored",
    "RouteAnswer",
    "RouteAsked",
    "RoutesForPair",
    "RoutesOfOwner",
    "TraitsAnswer",
    "TraitsAsked",
    "Way",
    "WayChoices",
]

_Upper: Any = Literal[UPPERS]
_Ability: Any = Literal[ABILITIES]
_Verdict: Any = Literal[VERDICTS]
_NextSole: Any = Literal[NEXT_SOLES]
_Construction: Any = Literal[CONSTRUCTIONS]


class RouteAsked(Message):
    """One way to a new sole, as its owner knows it."""

    name: Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[^\x00]*$")] = (
        text_field("what it is called")
    )
    wait_days: int = field(
        "wait for a free place", "d", ge=0, le=730, title="Days of waiting for a place"
    )
    lead_days_p50: int = field(
        "median from handing over to having it back",
        "d",
        ge=1,
        le=730,
        title="Days until it is back, usually",
    )
    lead_days_p90: int = field(
        "90 % quantile of the same", "d", ge=1, le=730, title="Days until 9 in 10 are back"
    )
    price_minor: Minor = field("full sole and heel, posting included", "minor unit of currency")
    currency: Currency = field("ISO 4217 code", "none (text)", default="EUR")
    rewelt_price_minor: Minor = field(
        "added for a new welt", "minor unit of currency", default=0, title="Added for a new welt"
    )
    abilities: list[_Ability] = field("what it can do", "none (words)", default_factory=list)
    constructions: list[_Construction] = field(
        "constructions it takes; empty = all", "none (words)", default_factory=list
    )
    loses: Line = text_field("what is lost by it", default="", title="What is lost by it")


class Way(RouteAsked):
    """One way to a new sole, with its short name."""

    route_id: NewId = id_field("short name, such as local", title="Short name")

    @model_validator(mode="after")
    def _back_in_order(self) -> Way:
        if self.lead_days_p90 < self.lead_days_p50:
            raise ValueError("9 in 10 cannot be back before the usual day")
        return self


def _usual_ways() -> list[Way]:
    names = Way.model_fields
    return [
        Way.model_validate({name: value for name, value in vars(route).items() if name in names})
        for route in DEFAULT_ROUTES
    ]


class WayChoices(Message):
    """Ways to a new sole of everybody who has none of that name of their own."""

    ways: list[Way] = field(
        f"ways to have a pair resoled; the default is {SOURCE}",
        "none (list)",
        title="Ways to a new sole",
        default_factory=_usual_ways,
        min_length=1,
        max_length=20,
    )

    @field_validator("ways")
    @classmethod
    def _named_once(cls, ways: list[Way]) -> list[Way]:
        if len({way.route_id for way in ways}) < len(ways):
            raise ValueError("each short name may be used once")
        return ways


class RouteAnswer(Answer):
    """One way to a new sole as stored, or the default."""

    route_id: str = id_field("the route")
    name: str = text_field("what it is called")
    wait_days: int = field("wait for a free place", "d")
    lead_days_p50: int = field("median from handing over to having it back", "d")
    lead_days_p90: int = field("90 % quantile of the same", "d")
    price_minor: int = field("full sole and heel", "minor unit of currency")
    currency: str = field("ISO 4217 code", "none (text)")
    rewelt_price_minor: int = field("added for a new welt", "minor unit of currency")
    abilities: list[str] = field("what it can do", "none (words)")
    constructions: list[str] = field("constructions it takes; empty = all", "none (words)")
    loses: str = text_field("what is lost by it")
    edited: bool = field("the owner changed it", "true or false")
    source: str = text_field("where its numbers are from")


class RoutesOfOwner(Answer):
    """An owner's routes."""

    items: list[RouteAnswer] = field("by route", "none (list)")


class RouteCompared(Answer):
    """One route for one pair."""

    route_id: str = id_field("the route")
    name: str = text_field("what it is called")
    can_do: bool = field("it can do what the pair needs", "true or false")
    lacks: str = text_field("what it cannot do")
    price_minor: int = field("price for this pair", "minor unit of currency")
    currency: str = field("ISO 4217 code", "none (text)")
    book_by: dt.date = date_field("day to ask for a place")
    hand_over_on: dt.date = date_field("day to hand it over")
    back_on_p50: dt.date = date_field("median day it is back")
    back_on_p90: dt.date = date_field("90 % quantile of the same")
    weeks_away_p50: float = field("median time away", "weeks")
    chance_back: float | None = field("chance that it is there for the occasion", "probability")
    latest_send_on: dt.date | None = date_field("last day to send it for the occasion")
    loses: str = text_field("what is lost by it")
    sentence: str = text_field("the same in words")
    edited: bool = field("the owner changed its numbers", "true or false")


class RoutesForPair(Answer):
    """An owner's routes compared for one pair."""

    pair_id: str = id_field("the pair")
    as_of: dt.date = date_field("today")
    send_by: dt.date | None = date_field("send-by date; null = beyond the horizon")
    verdict: _Verdict = field("what is to be done today", "none (words)")
    next_sole: _NextSole = field("what becomes of it after this sole", "none (word)")
    sentence: str = text_field("what is to be done, and why")
    needs: list[str] = text_field("what the work must be")
    items: list[RouteCompared] = field("able and cheapest first", "none (list)")


class TraitsAsked(Message):
    """What planning is told of a pair."""

    upper: _Upper = field("upper leather", "none (word)", default="smooth_calf")
    months: list[Month] = field(
        "months when it may be worn; empty = all", "months", default_factory=list, max_length=12
    )
    weight: Weight = field("preference, 1 = usual", "none (number)", default=1.0)
    route_id: KnownId | None = id_field("its own route; null = the cheapest able", default=None)


class TraitsAnswer(Answer):
    """What planning knows of a pair."""

    pair_id: str = id_field("the pair")
    upper: str = field("upper leather", "none (word)")
    months: list[int] = field("months when it may be worn; empty = all", "months")
    weight: float = field("preference, 1 = usual", "none (number)")
    route_id: str | None = id_field("its own route")


class LifeRow(Answer):
    """What one pair costs, and whether its next sole is worth it."""

    pair_id: str = id_field("the pair")
    label: str | None = text_field("what the owner calls it")
    currency: str = field("the owner's, ISO 4217 code", "none (text)")
    wears: int = field("so far", "wear days")
    price_minor: float | None = field("price paid", "minor unit of currency")
    repairs_minor: float | None = field("repairs so far", "minor unit of currency")
    cost_per_wear_minor: float | None = field("so far", "minor unit of currency per wear day")
    resoles: int = field("so far", "resoles")
    resoles_left: int = field("that welt and upper allow", "resoles")
    wears_per_sole: float = field("expected of the next sole", "wear days")
    wears_per_year: float | None = field("at the present pace", "wear days per year")
    soles_per_year: float | None = field("at the present pace", "soles per year")
    cost_per_year_minor: float | None = field("new soles", "minor unit of currency per year")
    resole_cost_per_wear_minor: float = field(
        "of the next sole", "minor unit of currency per wear day"
    )
    replace_cost_per_wear_minor: float | None = field(
        "of a new pair over its soles", "minor unit of currency per wear day"
    )
    verdict: _Verdict = field("what is to be done today", "none (words)")
    next_sole: _NextSole = field("what becomes of it after this sole", "none (word)")
    sentence: str = text_field("what is to be done, and why")
    arithmetic: str = text_field("how that is reckoned")
    due_p50: dt.date | None = date_field("median due date")


class LifeOfRack(Answer):
    """What a rack costs."""

    wearer_id: str = id_field("whose rack")
    as_of: dt.date = date_field("today")
    currency: str = field("of every amount, ISO 4217 code", "none (text)")
    cost_per_year_minor: int = field(
        "new soles of the whole rack", "minor unit of currency per year"
    )
    source: str = text_field("where the numbers are from")
    items: list[LifeRow] = field("by pair", "none (list)")


_Stood = dict[_Construction, Annotated[int, Field(ge=0, le=30)]]


class LifeSettingsAsked(Message):
    """Resoles that a construction allows, where the shop or the owner knows better."""

    resoles_stood: _Stood = field(
        "in all, by construction; the default is common practice, no source",
        "resoles",
        default_factory=dict,
    )


LifeSettingsPatch = patch_model(LifeSettingsAsked)


class LifeSettingsStored(Answer):
    """Resoles that each construction allows."""

    version: int = field("counts the changes; its ETag; 0 = the defaults", "changes")
    resoles_stood: dict[str, int] = field("in all, by construction", "resoles")
    edited: list[str] = field("constructions that were changed", "none (words)")
    source: str = text_field("where the others are from")
