"""HTTP schemas of care: which fields do care and its rules have over HTTP?"""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import Any, Literal

from solespan.api.schemas.fields import KnownId, PlainDate
from solespan.api.schemas.planning.planning_fields import (
    Month,
    date_field,
    field,
    id_field,
    text_field,
)
from solespan.api.schemas.rack.records import Answer, Message
from solespan.forecast.bench.standards import SOURCE
from solespan.forecast.planning.care import CARES, DEFAULT_RULES

__all__ = [
    "CareAsked",
    "CareChoices",
    "CareDue",
    "CareLogged",
    "CareRuleAnswer",
    "CareRuleAsked",
    "CareRules",
]

_Care: Any = Literal[CARES]


class CareRow(Answer):
    """One care that is due on one pair."""

    pair_id: str = id_field("the pair")
    label: str | None = text_field("what the owner calls it")
    care: str = field("kind of care", "none (word)")
    upper: str = field("upper leather", "none (word)")
    what: str = text_field("what to do")
    since: dt.date = date_field("due since")
    reason: str = text_field("why")
    backlog: bool = field("it was never noted, though due many times over", "true or false")


class CareDue(Answer):
    """The care that is due on a rack."""

    wearer_id: str = id_field("whose rack")
    as_of: dt.date = date_field("today")
    items: list[CareRow] = field("longest due first", "none (list)")


class CareAsked(Message):
    """A care that was done."""

    pair_id: KnownId = id_field("the pair")
    care: _Care = field("kind of care", "none (word)")
    done_on: PlainDate | None = date_field("the day; none = today", default=None)


class CareLogged(Answer):
    """A care as logged."""

    pair_id: str = id_field("the pair")
    care: str = field("kind of care", "none (word)")
    done_on: dt.date = date_field("the day")
    new: bool = field("it was not logged before", "true or false")


class CareRuleAsked(Message):
    """When one kind of care is due; without conditions never."""

    every_wears: int | None = field("after so many wears", "wear days", default=None, ge=1, le=3650)
    after_wet: bool = field("after wet wear", "true or false", default=False)
    every_days: int | None = field("after so many days of use", "d", default=None, ge=1, le=3650)
    months: list[Month] = field(
        "only in these months; empty = all", "months", default_factory=list, max_length=12
    )
    within_days: int | None = field(
        "not asked for when the last wear is longer ago", "d", default=None, ge=0, le=3650
    )


_Rules = dict[_Care, CareRuleAsked]


def _usual(upper: str) -> dict[str, CareRuleAsked]:
    """Return the usual rules of an upper: common practice."""
    known = {rule.care: rule for rule in DEFAULT_RULES if rule.upper == upper}
    names = CareRuleAsked.model_fields
    return {
        care: CareRuleAsked(
            **{n: v for n, v in (vars(known[care]) if care in known else {}).items() if n in names}
        )
        for care in CARES
    }


def _of(upper: str) -> Any:
    words = upper.replace("_", " ")
    return field(
        f"when care is due on {words}; a rule without numbers and tick is never due; the default "
        f"is {SOURCE}",
        "none (object)",
        title=f"Care of {words}",
        default_factory=partial(_usual, upper),
    )


class CareChoices(Message):
    """When care is due, for everybody who has no rule of their own."""

    smooth_calf: _Rules = _of("smooth_calf")
    suede: _Rules = _of("suede")
    shell: _Rules = _of("shell")
    other: _Rules = _of("other")


class CareRuleAnswer(Answer):
    """One care rule."""

    upper: str = field("upper leather", "none (word)")
    care: str = field("kind of care", "none (word)")
    every_wears: int | None = field("after so many wears", "wear days")
    after_wet: bool = field("after wet wear", "true or false")
    every_days: int | None = field("after so many days of use", "d")
    months: list[int] = field("only in these months; empty = all", "months")
    within_days: int | None = field("not asked for when the last wear is longer ago", "d")
    edited: bool = field("the owner changed it", "true or false")
    source: str = text_field("where it is from")


class CareRules(Answer):
    """An owner's care rules."""

    items: list[CareRuleAnswer] = field("by upper and care", "none (list)")
