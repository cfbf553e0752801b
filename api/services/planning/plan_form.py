"""Plan form: which wishes does it ask for, and what does it show before anything is typed?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.api.errors import Refused
from solespan.api.schemas.forms import FormProblem, Typed, read_column, text_of
from solespan.forecast.frames import DRESS_CODES, Column
from solespan.forecast.planning import Wishes
from solespan.forecast.planning.wishes import WEARS

__all__ = ["WEEKDAYS", "first_values", "wishes_typed"]

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_WHOLE = {
    "weeks": "Weeks",
    "most_away": "Pairs at the bench at once",
    "rest_days": "Rest days",
    "rest_days_wet": "Rest days after a wet day",
}
_COLUMNS = [
    *(Column(name, "integer", label, low=0, high=10**7) for name, label in _WHOLE.items()),
    Column("budget", "integer", "Budget a quarter", low=0, high=10**7),
    Column("occasion", "date", "Occasion"),
    Column("occasion_code", "word", "Dress code of the occasion", words=DRESS_CODES),
]
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
    return values | {f"day_{day}": code for day, code in enumerate(week)}


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
    reserved, code = text_of(typed, "reserved") or None, read["occasion_code"]
    if read["occasion"] is not None:
        values["occasions"] = [{"on": read["occasion"], "pair_id": reserved, "dress_code": code}]
    elif reserved or code:
        raise Refused(
            "A pair is reserved, or a dress code chosen, for an occasion without a day.",
            where="occasion",
            accepted="the day of the occasion",
            remedy=_REMEDY,
        )
    return values


def _read(column: Column, typed: Typed) -> Any:
    try:
        return read_column(column, typed)
    except FormProblem as problem:
        why = problem.errors[column.name]
        raise Refused(f"{column.meaning}: {why}.", where=column.name, remedy=_REMEDY) from None
