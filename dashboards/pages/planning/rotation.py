"""Wears of the last eight weeks: who wore which pair when, as strips to look at and days to read?

Each pair is a strip of days, the oldest at the left; a dry wear is one block, a wet one two.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.order import label_of

__all__ = ["ROTATION_DAYS", "rotation"]

ROTATION_DAYS = 56
MOST_STRIPS = 40
MOST_NAMES = 6  # on one day


def rotation(
    wear_days: pd.DataFrame, pairs: pd.DataFrame, *, today: pd.Timestamp
) -> dict[str, Any]:
    """Lay out the wear days of the last eight weeks.

    Parameters
    ----------
    wear_days : DataFrame
        Columns `frames.WEAR_DAYS`.
    pairs : DataFrame
        Columns `frames.PAIRS`; wear days of other pairs are left aside.

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
    counts = recent["pair_id"].value_counts(sort=False)
    ranked = sorted(counts.items(), key=lambda item: (-item[1], labels[str(item[0])].casefold()))
    by_pair = {str(pair_id): days for pair_id, days in recent.groupby("pair_id", sort=False)}
    return {
        "strips": [
            _strip(str(pair_id), labels[str(pair_id)], by_pair[str(pair_id)], first)
            for pair_id, _ in ranked[:MOST_STRIPS]
        ],
        "ticks": _ticks(first, today),
        "days": _days(recent, labels),
        "worn_days": int(recent["worn_on"].nunique()),
        "pairs_worn": len(ranked),
        "left_out": max(0, len(ranked) - MOST_STRIPS),
    }


def _strip(pair_id: str, label: str, days: pd.DataFrame, first: pd.Timestamp) -> dict[str, str]:
    at = (days["worn_on"] - first).dt.days.tolist()
    wet = days["wet"].tolist()
    count, wet_count = len(at), sum(wet)
    last = wording.iso(days["worn_on"].max())
    return {
        "pair_id": pair_id,
        "label": label,
        "dry": "".join(f"M{d} 0h.8v1h-.8z" for d, w in zip(at, wet, strict=True) if not w),
        "wet": "".join(
            f"M{d} 0h.8v.4h-.8zm0 .6h.8v.4h-.8z" for d, w in zip(at, wet, strict=True) if w
        ),
        "words": f"{wording.plural(count, 'day')}, {wet_count or 'none'} wet; last {last}",
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


def _days(recent: pd.DataFrame, labels: dict[str, str]) -> list[dict[str, str]]:
    """List each day with the pairs worn on it."""
    out = []
    day: Any
    for day, of_day in recent.sort_values(["worn_on", "pair_id"]).groupby("worn_on", sort=False):
        names = [
            labels[str(pair_id)] + (" (wet)" if wet else "")
            for pair_id, wet in zip(of_day["pair_id"], of_day["wet"], strict=True)
        ]
        more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
        said = ", ".join(names[:MOST_NAMES]) + more
        out.append({"day": f"{day.day_name()[:3]} {wording.iso(day)}", "pairs": said})
    return out[::-1]
