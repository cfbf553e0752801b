"""Record list page: what is logged of one pair, wear days a month at a time, each with its link?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.forecast.frames import TABLES

__all__ = ["month_page"]

Rows = Sequence[Mapping[str, Any]]


def month_page(rows: Mapping[str, Rows], month: str, *, today: date) -> dict[str, Any]:
    """Gather the page of a pair's records; `month` is written 2026-11, else the last one logged."""
    days = rows["wear_days"]
    months = sorted({f"{row['worn_on']:%Y-%m}" for row in days})
    shown = month if month in months else months[-1] if months else f"{today:%Y-%m}"
    place = months.index(shown) if shown in months else None
    return {
        "wearer_id": rows["pairs"][0]["wearer_id"] if rows["pairs"] else "",
        "month": _month_words(shown),
        "earlier": months[place - 1] if place else "",
        "later": months[place + 1] if place is not None and place + 1 < len(months) else "",
        "wears": [
            _line("wear_days", row, _wear(row))
            for row in reversed(days)
            if f"{row['worn_on']:%Y-%m}" == shown
        ],
        "worn_in_all": len(days),
        "checks": [_line("checks", row, _check(row)) for row in reversed(rows["checks"])],
        "soles": [_line("soles", row, _sole(row)) for row in reversed(rows["soles"])],
        "layers": [_line("layers", row, _layer(row)) for row in rows["layers"]],
        "jobs": [_line("bench_jobs", row, _job(row)) for row in reversed(rows["bench_jobs"])],
    }


def _line(name: str, row: Mapping[str, Any], words: tuple[str, str]) -> dict[str, str]:
    key = "/".join(str(row[column]) for column in TABLES[name].key)
    return {"table": name, "key": key, "what": words[0], "more": words[1]}


def _month_words(month: str) -> str:
    day = pd.Timestamp(f"{month}-01")
    return f"{wording.MONTHS[day.month - 1]} {day.year}"


def _day(day: date) -> str:
    return wording.long_date(pd.Timestamp(day))


def _wear(row: Mapping[str, Any]) -> tuple[str, str]:
    hours = "a usual day" if row["hours"] is None else f"{row['hours']:g} h"
    wet = "wet" if row["wet"] else "dry"
    return _day(row["worn_on"]), f"{hours}, {wording.spaced(row['surface'])}, {wet}"


def _check(row: Mapping[str, Any]) -> tuple[str, str]:
    found = (
        wording.spaced(row["grade"])
        if row["value_mm"] is None
        else wording.millimetres(row["value_mm"], 2)
    )
    return _day(row["checked_on"]), (
        f"{row['foot']} {row['point']}: {found}, {wording.spaced(row['method'])}"
    )


def _sole(row: Mapping[str, Any]) -> tuple[str, str]:
    end = "on the pair now" if row["removed_on"] is None else f"off {_day(row['removed_on'])}"
    thickness = wording.millimetres(row["nominal_thickness_mm"])
    return f"Fitted {_day(row['fitted_on'])}", (
        f"{wording.spaced(row['material'])}, {thickness} when new, {end}"
    )


def _layer(row: Mapping[str, Any]) -> tuple[str, str]:
    new, now = row["nominal_thickness_mm"], row["thickness_mm"]
    told = [
        *([f"{row['foot']} shoe"] if row["foot"] else []),
        *([wording.spaced(row["material"])] if row["material"] else []),
        *([f"{wording.millimetres(new)} when new"] if new is not None else []),
        *([f"{wording.millimetres(now)} now"] if now is not None else []),
        *([f"fitted {_day(row['fitted_on'])}"] if row["fitted_on"] else []),
        *([f"off {_day(row['removed_on'])}"] if row["removed_on"] else []),
    ]
    return wording.spaced(row["layer"]).capitalize(), ", ".join(told) or "nothing more is known"


def _job(row: Mapping[str, Any]) -> tuple[str, str]:
    end = "away" if row["returned_on"] is None else f"back {_day(row['returned_on'])}"
    return _day(row["received_on"]), f"{wording.spaced(row['work'])}, {end}"
