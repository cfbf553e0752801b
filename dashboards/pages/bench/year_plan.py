"""Year plan page: what does a shop hire and buy leather by, on one sheet of paper?

The picture is drawn here, as the sheet has no script. Its numbers stand below it, week by week.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd

from solespan.dashboards import wording

__all__ = ["year_plan_page"]

WIDTH, HEIGHT = 1040.0, 190.0
_LEFT, _BOTTOM = 34.0, 18.0
_COLUMNS = 3
_MOST_ABOVE = 2.0  # open hours up to so many times the longest bar are drawn
_LEATHER = {
    "use_sole": "soles (pairs)",
    "use_half_sole": "half soles (pairs)",
    "use_welt": "welt (m)",
}


def year_plan_page(
    body: Mapping[str, Any],
    quarters: pd.DataFrame,
    asked_on: Sequence[str],
    closures: Sequence[Mapping[str, Any]],
    today: date,
) -> dict[str, Any]:
    """Gather the sheet.

    Parameters
    ----------
    body : mapping
        The year by week, as `/v1/workload` tells it.
    quarters : DataFrame
        Materials as `forecast.workload.summarise` gives them by quarter.
    asked_on : sequence of str
        The day each owner is asked for.
    closures : sequence of mapping
        `first_on`, `last_on`, `hours_per_day` of days when the bench is open for less.
    """
    of = {row["measure"]: row for row in body["total"]}
    weeks = _weeks(body["periods"])
    last = pd.Timestamp(today) + pd.DateOffset(months=body["months"])
    begins = sorted(quarters["begins_on"].unique())
    return {
        "from": wording.long_date(pd.Timestamp(of["jobs"]["begins_on"])),
        "until": wording.long_date(last),
        "count": f"{of['jobs']['mean']:,.0f} jobs ({_span(of['jobs'])})",
        "hours": f"{of['bench_hours']['mean']:,.0f} hours of work ({_span(of['bench_hours'])})",
        "open": f"{of['open_hours']['mean']:,.0f} open hours",
        "last_year": body["year"]["last_year"],
        "columns": _in_columns(weeks),
        "picture": _picture(weeks),
        "busiest": [week["day"] for week in sorted(weeks, key=lambda w: -w["mean"])[:3]],
        "quarters": [wording.long_date(pd.Timestamp(begin)) for begin in begins],
        "leather": [
            {"words": words, "cells": _leather(quarters, measure, begins)}
            for measure, words in _LEATHER.items()
        ],
        "asked": _asked(asked_on, begins, last),
        "closures": _closures(closures, today, last.date()),
    }


def _weeks(periods: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    hours = [row for row in periods if row["measure"] == "bench_hours"]
    room = {row["begins_on"]: row["mean"] for row in periods if row["measure"] == "open_hours"}
    return [
        {
            "week": row["begins_on"],
            "day": _short(row["begins_on"]),
            "mean": row["mean"],
            "low": row["p10"],
            "high": row["p90"],
            "open": room[row["begins_on"]],
            "words": f"{row['mean']:.1f} ({row['p10']:.0f}-{row['p90']:.0f})",
        }
        for row in hours
    ]


def _short(iso: str) -> str:
    day = date.fromisoformat(iso)
    return f"{day.day} {wording.MONTHS[day.month - 1][:3]}"


def _in_columns(weeks: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    tall = -(-len(weeks) // _COLUMNS)
    return [weeks[k : k + tall] for k in range(0, len(weeks), tall)]


def _picture(weeks: list[dict[str, Any]]) -> dict[str, Any]:
    """Place each week's 80 % interval, its expected hours and the open hours."""
    longest = max((week["high"] for week in weeks), default=0.0)
    most_open = max((week["open"] for week in weeks), default=0.0)
    fits = most_open <= _MOST_ABOVE * longest
    top = max(longest, most_open if fits else 0.0, 1.0) * 1.05
    step = (WIDTH - _LEFT) / max(len(weeks), 1)

    def height(hours: float) -> float:
        return round((HEIGHT - _BOTTOM) * (1 - hours / top), 1)

    bars, room = [], []
    for place, week in enumerate(weeks):
        x = _LEFT + place * step
        day = pd.Timestamp(week["week"])
        bars.append(
            {
                "x": round(x + 0.15 * step, 1),
                "width": round(0.7 * step, 1),
                "y": height(week["high"]),
                "height": round(height(week["low"]) - height(week["high"]), 1),
                "mean": height(week["mean"]),
                "month": wording.MONTHS[day.month - 1][:3] if day.day <= 7 else "",
            }
        )
        at = height(week["open"])
        room += [f"{x:.1f},{at}", f"{x + step:.1f},{at}"]
    return {
        "width": WIDTH,
        "height": HEIGHT,
        "base": HEIGHT - _BOTTOM,
        "left": _LEFT,
        "bars": bars,
        "open": " ".join(room) if fits else "",
        "open_most": f"{most_open:.0f}",
        "ticks": [{"y": height(at), "words": f"{at:.0f}"} for at in (0.0, top / 2.1, top / 1.05)],
    }


def _leather(quarters: pd.DataFrame, measure: str, begins: Sequence[Any]) -> list[str]:
    rows = quarters[quarters["measure"] == measure].set_index("begins_on")
    return [_span(rows.loc[begin].to_dict()) for begin in begins]


def _asked(asked_on: Sequence[str], begins: Sequence[Any], last: pd.Timestamp) -> list[int]:
    # who is asked now belongs to the first quarter
    edges = ["", *(wording.iso(pd.Timestamp(begin)) for begin in begins[1:])]
    ends = [*edges[1:], wording.iso(last + pd.Timedelta(days=1))]
    return [
        sum(low <= day < high for day in asked_on) for low, high in zip(edges, ends, strict=True)
    ]


def _closures(closures: Sequence[Mapping[str, Any]], today: date, last: date) -> list[str]:
    rows = []
    for closure in sorted(closures, key=lambda c: str(c["first_on"])):
        first, end = (
            date.fromisoformat(str(closure["first_on"])),
            date.fromisoformat(str(closure["last_on"])),
        )
        if end <= today or first > last:
            continue
        hours = closure["hours_per_day"]
        less = f", {hours:g} h a day" if hours else ""
        rows.append(f"{first.isoformat()} to {end.isoformat()}{less}")
    return rows


def _span(row: Mapping[Any, Any]) -> str:
    return f"{row['p10']:,.0f} to {row['p90']:,.0f}"
