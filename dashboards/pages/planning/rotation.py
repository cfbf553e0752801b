"""Wears of the last eight weeks: who wore which pair when, as strips to look at and days to read?

Each pair is a strip of days, the oldest at the left; a dry wear is one block, a wet one two.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.order import label_of

__all__ = ["MOST_STRIPS", "ROTATION_DAYS", "rotation"]

ROTATION_DAYS = 56
MOST_STRIPS = 40
MOST_NAMES = 6  # on one day
Wear = tuple[pd.Timestamp, bool]


def rotation(
    wear_days: pd.DataFrame,
    pairs: pd.DataFrame,
    *,
    today: pd.Timestamp,
    by_day: Mapping[pd.Timestamp, int] | None = None,
    pairs_worn: int | None = None,
) -> dict[str, Any]:
    """Lay out the wear days of the last eight weeks.

    Parameters
    ----------
    wear_days : DataFrame
        Columns `frames.WEAR_DAYS`, of the pairs worn most at least.
    pairs : DataFrame
        Columns `frames.PAIRS`; wear days of other pairs are left aside.
    by_day : mapping, optional
        How many pairs were worn on each day; None = those of `wear_days`.
    pairs_worn : int, optional
        How many pairs were worn at all; None = those of `wear_days`.

    Returns
    -------
    dict
        `strips` (one per pair worn, the most worn first: `pair_id`, `label`, the SVG paths `dry`
        and `wet` in days across and one down, `words`), `ticks` (first days of weeks), `days` (to
        read, the latest first), `worn_days`, `pairs_worn`, `left_out` (pairs without a strip).
    """
    first = today - pd.Timedelta(days=ROTATION_DAYS - 1)
    labels = label_of(pairs)
    recent = wear_days[
        wear_days["worn_on"].between(first, today) & wear_days["pair_id"].isin(labels)
    ]
    wears: dict[str, list[Wear]] = {}
    on_day: dict[pd.Timestamp, list[tuple[str, bool]]] = {}
    for pair_id, worn_on, wet in zip(
        recent["pair_id"], recent["worn_on"], recent["wet"].tolist(), strict=True
    ):
        wears.setdefault(pair_id, []).append((worn_on, wet))
        on_day.setdefault(worn_on, []).append((pair_id, wet))
    if by_day is None:
        by_day = {day: len(of_day) for day, of_day in on_day.items()}
    pairs_worn = len(wears) if pairs_worn is None else pairs_worn
    ranked = sorted(wears, key=lambda pair_id: (-len(wears[pair_id]), labels[pair_id].casefold()))
    shown = ranked[:MOST_STRIPS]
    return {
        "strips": [_strip(p, labels[p], sorted(wears[p]), first) for p in shown],
        "ticks": _ticks(first, today),
        "days": [
            _day(day, sorted(on_day.get(day, ())), by_day[day], labels)
            for day in sorted(by_day, reverse=True)
        ],
        "worn_days": len(by_day),
        "pairs_worn": pairs_worn,
        "left_out": pairs_worn - len(shown),
    }


def _strip(pair_id: str, label: str, wears: Sequence[Wear], first: pd.Timestamp) -> dict[str, str]:
    at = [((day - first).days, wet) for day, wet in wears]
    wet_count = sum(wet for _, wet in at)
    return {
        "pair_id": pair_id,
        "label": label,
        "dry": "".join(f"M{d} 0h.8v1h-.8z" for d, wet in at if not wet),
        "wet": "".join(f"M{d} 0h.8v.4h-.8zm0 .6h.8v.4h-.8z" for d, wet in at if wet),
        "words": f"{wording.plural(len(at), 'day')}, {wet_count or 'none'} wet; "
        f"last {wording.short_date(wears[-1][0])}",
    }


def _ticks(first: pd.Timestamp, today: pd.Timestamp) -> list[dict[str, str]]:
    """Name every second Monday."""
    mondays = pd.date_range(first, today, freq="W-MON")
    return [
        {
            "at": f"{100 * (day - first).days / ROTATION_DAYS:.1f}",
            "text": f"{day.day} {wording.MONTHS[day.month - 1][:3]}",
        }
        for day in mondays[::2]
        if (today - day).days > 5
    ]


def _day(
    day: pd.Timestamp, worn: Sequence[tuple[str, bool]], count: int, labels: Mapping[str, str]
) -> dict[str, str]:
    """Say which pairs were worn on a day: the first names, and how many more."""
    names = [labels[pair_id] + (" (wet)" if wet else "") for pair_id, wet in worn[:MOST_NAMES]]
    left = count - len(names)
    said = f"{', '.join(names)} and {left} more" if names else wording.plural(left, "pair")
    return {
        "day": f"{day.day_name()[:3]} {wording.short_date(day)}",
        "pairs": said if left else ", ".join(names),
    }
