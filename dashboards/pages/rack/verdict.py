"""Verdict: what does a list say of a pair in a few words, with a date no finer than is known?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.order import AT_REST
from solespan.forecast.planning.verdict import LOOK, state_of

__all__ = ["list_date", "verdict"]

_NEAR_DAYS, _SOON_DAYS, _MONTHS_DAYS = 14, 90, 548
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_PARTS = ("early", "mid", "late")


def verdict(
    row: Mapping[str, Any], today: pd.Timestamp, horizon_days: int, *, word: str = ""
) -> str:
    """Say what to do with a pair by when, from its forecast row; one line of a list.

    `word` is the verdict on a pair whose costs were weighed, a word of `VERDICTS`.
    """
    band, send_by = row["band"], row["send_by"]
    if band in AT_REST:
        return "At a shop" if band == "away" else "Retired"
    if pd.isna(send_by):
        return f"After {(today + pd.Timedelta(days=horizon_days)).year - 1}"
    if word == "retire":
        return "Retire"
    if state_of(row) == LOOK:
        return "Look now"
    if send_by <= today:
        return "Send now"
    soon = (send_by - today).days <= _SOON_DAYS
    return f"{'Send by' if soon else 'By'} {list_date(send_by, today)}"


def list_date(day: pd.Timestamp, today: pd.Timestamp) -> str:
    """Say a day: Mon 7 Dec, 21 March, mid Mar 2027 or early 2029, coarser the further it is."""
    ahead_days = (day - today).days
    month = wording.MONTHS[day.month - 1]
    if ahead_days < _NEAR_DAYS:
        return f"{_WEEKDAYS[day.weekday()]} {day.day} {month[:3]}"
    if ahead_days <= _SOON_DAYS:
        return f"{day.day} {month}"
    if ahead_days <= _MONTHS_DAYS:
        return (
            f"{_PARTS[min(day.day - 1, 29) // 10]} {month[: 4 if day.month == 9 else 3]} {day.year}"
        )
    return f"{_PARTS[(day.month - 1) // 4]} {day.year}"
