"""Which wishes does the planning form ask for, and what does it show before anything is typed?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from solespan.api.errors import Refused
from solespan.forecast.frames import DRESS_CODES
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
_REMEDY = "Nothing was changed; mend it and plan again."


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


def wishes_typed(typed: Mapping[str, str]) -> dict[str, Any]:
    """Read the form; a field that was not sent keeps its usual value. Raises `Refused`."""
    values: dict[str, Any] = {"wear": typed.get("wear", WEARS[0])}
    for name, label in _WHOLE.items():
        if name in typed:
            values[name] = _whole(typed[name], label)
    if typed.get("budget", "").strip():
        values["budget_minor_per_quarter"] = 100 * _whole(typed["budget"], "Budget a quarter")
    week = [typed.get(f"day_{day}") for day in range(len(WEEKDAYS))]
    if all(week):
        values["week"] = week
    on = typed.get("occasion", "").strip()
    reserved, code = typed.get("reserved") or None, typed.get("occasion_code") or None
    if on:
        values["occasions"] = [{"on": _day(on), "pair_id": reserved, "dress_code": code}]
    elif reserved or code:
        raise Refused(
            "A pair is reserved, or a dress code chosen, for an occasion without a day.",
            where="occasion",
            accepted="the day of the occasion",
            remedy=_REMEDY,
        )
    if code is not None and code not in DRESS_CODES:
        raise Refused(
            f"{code!r} is no dress code.",
            where="occasion_code",
            accepted=", ".join(DRESS_CODES),
            remedy=_REMEDY,
        )
    return values


def _whole(text: str, label: str) -> int:
    text = text.strip()
    if not text.isascii() or not text.isdigit() or len(text) > 7:
        raise Refused(
            f"{label}: {text!r} is no whole number.",
            where=label,
            accepted="a whole number, 0 or more",
            remedy=_REMEDY,
        )
    return int(text)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(
            f"{text!r} is no day.", where="occasion", accepted="YYYY-MM-DD", remedy=_REMEDY
        ) from None
