"""Wishes: what does an owner want of a plan, and what is known of each pair on the day it is made?

Defaults are common practice, no source: one full day of rest after wear, two after a wet day. A
pair for business may go to a casual day and one for formal wear to business. No sole is sent with
more than half of it left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import pandas as pd

from solespan.forecast.frames import DRESS_CODES
from solespan.forecast.planning.aims import Aims
from solespan.forecast.planning.errors import BadPlan

__all__ = ["ACCEPTED_CODES", "WEARS", "WEEK", "Occasion", "PairState", "Wishes"]

WEEK = ("business",) * 5 + ("casual",) * 2
ACCEPTED_CODES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "formal": ("formal",),
        "business": ("business", "formal"),
        "casual": ("casual", "business"),
        "outdoor": ("outdoor", "casual"),
    }
)
WEARS = ("as now", "even", "uneven")
MOST_WEEKS = 60
MOST_PAIRS = 120


@dataclass(frozen=True)
class Occasion:
    """A dated day that differs from the week's pattern.

    dress_code : code of the day; None = as the week says; "none" = no pair is worn.
    pair_id : the pair reserved for it, or None.
    wet : wet ground is expected, so the pair rests longer after.
    """

    on: pd.Timestamp
    dress_code: str | None = None
    pair_id: str | None = None
    wet: bool = False
    name: str = ""


@dataclass(frozen=True)
class PairState:
    """What is known of one pair on the day the plan is made.

    wear_days_left, wear_days_new : wear days at the risk level on this sole and on a new one.
    last_worn, last_wet : the last day it was worn, and whether that day was wet.
    away_until : the first day it can be worn again after a job that is open; None = on the shelf.
    lead_days : days away for a new sole, as the plan should count them.
    wears_per_week : present pace, as its forecast reckons.
    next_sole : word of `forecast.planning.verdict`; a pair to retire is worn out and never sent.
    send_by : day by which it is to be sent, where the verdict on it is to send it; None = not yet.
    sent_on : last day it was handed over; counts in the quarter in which the plan begins.
    """

    pair_id: str
    wear_days_left: int
    wear_days_new: int
    label: str = ""
    dress_code: str | None = None
    last_worn: pd.Timestamp | None = None
    last_wet: bool = False
    away_until: pd.Timestamp | None = None
    lead_days: int = 14
    price_minor: int = 0
    retired: bool = False
    wears_per_week: float = 0.0
    next_sole: str = "resole"
    send_by: pd.Timestamp | None = None
    sent_on: pd.Timestamp | None = None


@dataclass(frozen=True)
class Wishes:
    """What the owner wants.

    weeks : how many weeks are planned, 1 to 60.
    week : dress code by weekday, Monday first; "none" = no pair is worn.
    most_away : pairs the owner is willing to have at the bench at once.
    budget_minor_per_quarter : for new soles, by calendar quarter of the day sent; None = no limit.
    wear : how a plan shares wear. "even" shares it by the weights. "uneven" wears pairs with less
        left more, so that they fall due one after another. "as now" wears each pair as often as the
        forecasts reckon, on as many of the week's days as that takes.
    weights : preference by pair, 0 to 10, 1 if not named; 0 = wear it only when needed.
    months : months (1 to 12) in which a pair may be worn; all if not named.
    earliest_share : share of what is left on a sole that must be worn before it is sent, unless
        the verdict on it is to send it.
    aims : how much evenness, spread, cost, occasions and preference matter.
    """

    weeks: int = 26
    week: tuple[str, ...] = WEEK
    occasions: tuple[Occasion, ...] = ()
    rest_days: int = 1
    rest_days_wet: int = 2
    most_away: int = 2
    budget_minor_per_quarter: int | None = None
    wear: str = "even"
    weights: Mapping[str, float] = field(default_factory=dict)
    months: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    accepted_codes: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: ACCEPTED_CODES)
    earliest_share: float = 0.5
    aims: Aims = field(default_factory=Aims)

    def __post_init__(self) -> None:
        """Refuse what cannot be meant, naming the field."""
        codes = (*DRESS_CODES, "none")
        _need(1 <= self.weeks <= MOST_WEEKS, "weeks", self.weeks, f"1 to {MOST_WEEKS}")
        _need(len(self.week) == 7, "week", ", ".join(self.week), "seven dress codes, Monday first")
        for code in self.week:
            _need(code in codes, "week", code, ", ".join(codes))
        _need(0 <= self.rest_days <= 6, "rest_days", self.rest_days, "0 to 6")
        least = self.rest_days
        _need(
            least <= self.rest_days_wet <= 6, "rest_days_wet", self.rest_days_wet, f"{least} to 6"
        )
        _need(0 <= self.most_away <= 50, "most_away", self.most_away, "0 to 50")
        budget = self.budget_minor_per_quarter
        _need(budget is None or budget >= 0, "budget_minor_per_quarter", budget, "0 or more")
        _need(self.wear in WEARS, "wear", self.wear, ", ".join(WEARS))
        _need(0 <= self.earliest_share <= 1, "earliest_share", self.earliest_share, "0 to 1")
        for pair_id, weight in self.weights.items():
            _need(0 <= weight <= 10, f"weights.{pair_id}", weight, "0 to 10")
        for pair_id, months in self.months.items():
            fits = bool(months) and all(1 <= m <= 12 for m in months)
            _need(fits, f"months.{pair_id}", months, "months from 1 to 12")
        by_day: dict[pd.Timestamp, Occasion] = {}
        for one in self.occasions:
            _need(
                one.dress_code is None or one.dress_code in codes,
                "occasions.dress_code",
                one.dress_code,
                ", ".join(codes),
            )
            if one.on in by_day:
                raise BadPlan(
                    f"There are two occasions on {one.on.date()}; one pair is worn a day.",
                    field="occasions.on",
                    accepted="one occasion a day",
                )
            if one.dress_code == "none" and one.pair_id:
                raise BadPlan(
                    f"{one.on.date()} has no wear, and {one.pair_id} is reserved for it.",
                    field="occasions.pair_id",
                    accepted="a reservation on a day with wear",
                )
            by_day[one.on] = one


def _need(holds: bool, name: str, given: object, accepted: str) -> None:
    if not holds:
        raise BadPlan(
            f"{name.replace('_', ' ')}: {given!r} cannot be used.", field=name, accepted=accepted
        )
