"""Month grid page: which pairs were worn on which days, as boxes to tick?

A wide window shows the whole month, a narrow one a week of it at a time.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from solespan.dashboards import wording
from solespan.forecast.covariates import LOGGED
from solespan.forecast.frames import STANDARD_HOURS_PER_WEAR_DAY
from solespan.forecast.panel.log_arrays import LOGGED_DAYS_AT_LEAST

__all__ = ["wear_grid"]

MOST_PAIRS = 40
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
Row = Mapping[str, Any]
Cell = tuple[str, date]


def wear_grid(
    wearer: Row,
    pairs: Sequence[Row],
    sole_days: Mapping[str, Collection[date]],
    wear_days: Sequence[Row],
    *,
    logged_days: int,
    today: date,
    first: date,
    page: int = 1,
    week: str = "",
    wanted: Mapping[Cell, bool] | None = None,
    ask: Sequence[Row] = (),
    elsewhere: Sequence[Cell] = (),
) -> dict[str, Any]:
    """Gather the month grid of one wearer.

    Parameters
    ----------
    wearer, pairs : mapping
        Rows of the tables, with their versions.
    sole_days : mapping
        The days of the month on which each pair had a sole on.
    wear_days : sequence of mappings
        The logged days of the month, with their versions.
    logged_days : int
        All logged days of this rack.
    first : date
        First day of the month.
    wanted : mapping, optional
        Ticks that a person set and that are not saved.
    ask : sequence of mappings
        Wear days that carry more than a tick and would be deleted.
    elsewhere : sequence of cells
        Days that changed since the page was made.
    """
    by_id = {row["pair_id"]: row for row in pairs}
    names = {pair_id: row["label"] or pair_id for pair_id, row in by_id.items()}
    logged = {(row["pair_id"], row["worn_on"]): row for row in wear_days}
    worn = {pair_id for pair_id, _ in logged}
    listed = sorted(
        (p for p in names if sole_days.get(p) or p in worn), key=lambda p: (names[p].casefold(), p)
    )
    pages = max(1, -(-len(listed) // MOST_PAIRS))
    page = min(max(page, 1), pages)
    shown = listed[(page - 1) * MOST_PAIRS : page * MOST_PAIRS]
    days = _days(first, today)
    weeks = _weeks(days)
    numbers = {pair_id: number for number, pair_id in enumerate(shown)}
    return {
        "wearer_id": wearer["wearer_id"],
        "month": f"{first:%Y-%m}",
        "title": _month(first),
        "before": _link(first - timedelta(days=1), first),
        "after": _link(first + timedelta(days=31), first) if days[-1]["day"] < today else None,
        "days": days,
        "weeks": weeks,
        "week": week if week in {one["value"] for one in weeks} else _week_of(days, weeks),
        "rows": [
            _row(p, names[p], number, days, sole_days.get(p, ()), logged, wanted or {}, today)
            for p, number in numbers.items()
        ],
        "left_out": len(names) - len(listed),
        "page": page,
        "pages": pages,
        "pair_count": len(listed),
        "ask": [
            {
                "words": f"{names[r['pair_id']]}, {_day(r['worn_on'])}: {more_of(r)}",
                "value": f"{numbers[r['pair_id']]}.{r['worn_on'].day}",
            }
            for r in ask
            if r["pair_id"] in numbers
        ],
        "elsewhere": [f"{names.get(p, p)}, {_day(day)}" for p, day in elsewhere],
        "pace_sentence": _pace_sentence(logged_days),
        "paces": [
            (wearer["wearer_id"], "All pairs together", _number(wearer["wears_per_week"])),
            *((p, names[p], _number(by_id[p]["wears_per_week"])) for p in shown),
        ],
    }


def more_of(day: Row) -> str:
    """Say what a wear day carries beside the defaults; empty where it carries nothing."""
    usual = day["hours"] in (None, STANDARD_HOURS_PER_WEAR_DAY)
    said = [] if usual else [f"{day['hours']:g} h"]
    for one in LOGGED:
        value = day[one.column.name]
        if value != one.column.default:
            words = one.flag_words[value] if one.column.kind == "flag" else wording.spaced(value)
            said.append(words if one.column.words or one.heading else f"{one.label} {words}")
    return ", ".join(said)


def _row(
    pair_id: str,
    label: str,
    number: int,
    days: Sequence[Row],
    on: Collection[date],
    logged: Mapping[Cell, Row],
    wanted: Mapping[Cell, bool],
    today: date,
) -> dict[str, Any]:
    cells = []
    for one in days:
        day = one["day"]
        row = logged.get((pair_id, day))
        more = more_of(row) if row else ""
        why = "" if row else "still to come" if day > today else "" if day in on else "no sole on"
        name = f"{label}, {_day(day)}"
        cells.append(
            {
                "one": one,
                "value": f"{number}.{day.day}",
                "ticked": wanted.get((pair_id, day), row is not None),
                "why": why,
                "more": more,
                "name": f"{name}: {more}" if more else name,
            }
        )
    return {
        "pair_id": pair_id,
        "label": label,
        "cells": cells,
        "seen": "-".join(
            f"{one['day'].day}.{logged[pair_id, one['day']]['version']}"
            for one in days
            if (pair_id, one["day"]) in logged
        ),
        "note": _note([one["day"] for one in days if one["day"] <= today], on),
    }


def _note(days: Sequence[date], on: Collection[date]) -> str:
    """Say when the pair had no sole on."""
    missing = [day for day in days if day not in on]
    if not missing:
        return ""
    if len(missing) == len(days):
        return "no sole on in this month"
    if missing == days[: len(missing)]:
        return f"no sole before {_day(days[len(missing)])}"
    if missing == days[-len(missing) :]:
        return f"no sole from {_day(missing[0])} on"
    return f"no sole on {wording.plural(len(missing), 'day')}"


def _days(first: date, today: date) -> list[dict[str, Any]]:
    """List the days of the month; weeks begin on Monday."""
    last = (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)
    return [
        {
            "day": day,
            "number": day.day,
            "weekday": WEEKDAYS[day.weekday()][:2],
            "column": day.weekday() + 1,
            "week": (day.day + first.weekday() - 1) // 7,
            "today": day == today,
        }
        for day in (first + timedelta(days=n) for n in range(last.day))
    ]


def _weeks(days: Sequence[Row]) -> list[dict[str, str]]:
    numbers: dict[int, list[int]] = {}
    for one in days:
        numbers.setdefault(one["week"], []).append(one["number"])
    return [
        {"value": str(week), "words": f"{of[0]}-{of[-1]}" if len(of) > 1 else f"{of[0]}"}
        for week, of in numbers.items()
    ]


def _week_of(days: Sequence[Row], weeks: Sequence[Row]) -> str:
    """Choose the week of today, or the last one of a month that is over."""
    now = [str(one["week"]) for one in days if one["today"]]
    return now[0] if now else str(weeks[-1]["value"])


def _pace_sentence(logged_days: int) -> str:
    if logged_days >= LOGGED_DAYS_AT_LEAST:
        return (
            f"This rack has {logged_days} logged days, so its dates follow the log and not a "
            "stated pace."
        )
    return (
        "The forecast uses a stated pace in place of a log, until "
        f"{LOGGED_DAYS_AT_LEAST} days of this rack are logged."
    )


def _link(day: date, first: date) -> dict[str, str]:
    short = wording.MONTHS[day.month - 1][:3]
    words = short if day.year == first.year else f"{short} {day.year}"
    return {"value": f"{day:%Y-%m}", "words": words, "name": _month(day)}


def _month(day: date) -> str:
    return f"{wording.MONTHS[day.month - 1]} {day.year}"


def _day(day: date) -> str:
    return f"{WEEKDAYS[day.weekday()]} {day.day} {wording.MONTHS[day.month - 1]}"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
