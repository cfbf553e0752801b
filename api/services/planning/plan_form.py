"""Plan form: which wishes does it ask for, and what does it show before anything is typed?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from solespan.api.errors import Refused
from solespan.api.schemas.forms import FormProblem, Typed, read_column, text_of
from solespan.forecast.frames import DRESS_CODES, Column
from solespan.forecast.planning import Wishes
from solespan.forecast.planning.aims import AIMS, LEVELS
from solespan.forecast.planning.wishes import WEARS

__all__ = [
    "AIM_LABELS",
    "MONTHS",
    "PREFERENCES",
    "WEEKDAYS",
    "ends_of",
    "first_values",
    "occasion_rows",
    "preferences_typed",
    "wishes_typed",
]

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
_WHOLE = {
    "weeks": "Weeks",
    "most_away": "Pairs at the bench at once",
    "rest_days": "Rest days",
    "rest_days_wet": "Rest days after a wet day",
}
_COLUMNS = [
    *(Column(name, "integer", label, low=0, high=10**7) for name, label in _WHOLE.items()),
    Column("budget", "integer", "Budget a quarter", low=0, high=10**7),
]
_OCCASION = (
    Column("occasion", "date", "Occasion"),
    Column("occasion_code", "word", "Dress code of the occasion", words=DRESS_CODES),
)
MOST_OCCASIONS = 20
BLANK_OCCASIONS = 2
PREFERENCES = ((2.0, "often"), (1.0, "as usual"), (0.5, "seldom"), (0.2, "for best"))
AIM_LABELS = {
    "even": "Even wear",
    "spread": "New soles spread over the quarters",
    "cost": "Few new soles",
    "occasions": "The right pair on occasions",
    "best": "Preferences, and pairs for best",
}
_REMEDY = "Nothing was changed; correct it and plan again."


def first_values(question: Mapping[str, Any] | None) -> dict[str, str]:
    """Return each field as text: as the newest plan was asked for, or the usual wishes."""
    usual = Wishes()
    wished = (question or {}).get("wishes", {})
    values = {name: str(wished.get(name, getattr(usual, name))) for name in _WHOLE}
    values["wear"] = str(wished.get("wear", WEARS[0]))
    budget = wished.get("budget_minor_per_quarter")
    values["budget"] = "" if budget is None else f"{budget / 100:g}"
    week = wished.get("week", usual.week)
    aims = wished.get("aims", {})
    values |= {f"aim_{name}": str(aims.get(name, getattr(usual.aims, name))) for name in AIMS}
    return values | {f"day_{day}": code for day, code in enumerate(week)}


def occasion_rows(
    question: Mapping[str, Any] | None, typed: Typed, today: date
) -> list[dict[str, str]]:
    """Return the rows of occasions, typed or of the newest plan and to come, and blank ones."""
    names = ("occasion", "occasion_code", "reserved", "occasion_name", "wet")
    if typed:
        rows = [{n: typed.get(f"{n}_{i}", "") for n in names} for i in range(MOST_OCCASIONS)]
        rows = [row for row in rows if any(row.values())]
    else:
        known = (question or {}).get("wishes", {}).get("occasions", ())
        rows = [
            dict(
                zip(
                    names,
                    (
                        one["on"],
                        one["dress_code"] or "",
                        one["pair_id"] or "",
                        one.get("name", ""),
                        "true" if one["wet"] else "",
                    ),
                    strict=True,
                )
            )
            for one in known
            if one["on"] > today.isoformat()
        ]
    return [*rows, *({} for _ in range(BLANK_OCCASIONS))][:MOST_OCCASIONS]


def wishes_typed(typed: Typed) -> dict[str, Any]:
    """Read the form; a field that is empty keeps its usual value. Raises `Refused`."""
    read = {column.name: _read(column, typed) for column in _COLUMNS}
    values: dict[str, Any] = {"wear": typed.get("wear", WEARS[0])}
    values |= {name: read[name] for name in _WHOLE if read[name] is not None}
    if read["budget"] is not None:
        values["budget_minor_per_quarter"] = 100 * read["budget"]
    week = [typed.get(f"day_{day}") for day in range(len(WEEKDAYS))]
    if all(week):
        values["week"] = week
    values["aims"] = {name: _level(name, typed) for name in AIMS}
    values["occasions"] = [
        one for one in (_occasion(i, typed) for i in range(MOST_OCCASIONS)) if one is not None
    ]
    return values


def preferences_typed(typed: Typed, known: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Return what changes of pairs' preference and months: the whole traits, by pair.

    Parameters
    ----------
    known : mapping
        Traits of each pair that the form offers.
    """
    changed = {}
    for pair_id, traits in known.items():
        if f"prefer:{pair_id}" not in typed:
            continue
        weight = _number(typed[f"prefer:{pair_id}"], float(traits["weight"]))
        first, last = (_month(typed.get(f"{end}:{pair_id}", "")) for end in ("from", "until"))
        months = list(traits["months"])
        if (typed.get(f"from:{pair_id}"), typed.get(f"until:{pair_id}")) != ends_of(months):
            months = _months(first, last)
        new = {**traits, "weight": weight, "months": months}
        if new != dict(traits):
            changed[pair_id] = new
    return changed


def ends_of(months: Sequence[int]) -> tuple[str, str]:
    """Return the first and last month of a run of months as text; empty = all months."""
    if not months or len(months) == len(MONTHS):
        return "", ""
    had = set(months)
    first = next(m for m in months if (m - 2) % 12 + 1 not in had)
    last = first
    while last % 12 + 1 in had:
        last = last % 12 + 1
    return str(first), str(last)


def _months(first: int | None, last: int | None) -> list[int]:
    if first is None or last is None:
        return []
    count = (last - first) % len(MONTHS) + 1
    return sorted((first - 1 + k) % len(MONTHS) + 1 for k in range(count))


def _month(text: str) -> int | None:
    return int(text) if text.isdigit() and 1 <= int(text) <= len(MONTHS) else None


def _number(text: str, usual: float) -> float:
    return next((weight for weight, _ in PREFERENCES if f"{weight:g}" == text), usual)


def _level(name: str, typed: Typed) -> int:
    text = typed.get(f"aim_{name}", "2")
    if text not in {str(level) for level in LEVELS}:
        raise Refused(
            f"{AIM_LABELS[name]}: {text!r} cannot be used.",
            where=f"aim_{name}",
            accepted="0 to 4",
            remedy=_REMEDY,
        )
    return int(text)


def _occasion(number: int, typed: Typed) -> dict[str, Any] | None:
    """Read one row of occasions; None where it is empty."""
    row = {c.name: typed.get(f"{c.name}_{number}", "") for c in _OCCASION}
    read = {column.name: _read(column, row) for column in _OCCASION}
    reserved, code = text_of(typed, f"reserved_{number}") or None, read["occasion_code"]
    if read["occasion"] is not None:
        return {
            "on": read["occasion"],
            "pair_id": reserved,
            "dress_code": code,
            "wet": typed.get(f"wet_{number}") == "true",
            "name": text_of(typed, f"occasion_name_{number}") or "",
        }
    if reserved or code:
        raise Refused(
            "A pair is reserved, or a dress code chosen, for an occasion without a day.",
            where="occasion",
            accepted="the day of the occasion",
            remedy=_REMEDY,
        )
    return None


def _read(column: Column, typed: Typed) -> Any:
    try:
        return read_column(column, typed)
    except FormProblem as problem:
        why = problem.errors[column.name]
        raise Refused(f"{column.meaning}: {why}.", where=column.name, remedy=_REMEDY) from None
