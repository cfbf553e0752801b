"""Verdict: what does a list say of a pair in a few words, with a date no finer than is known?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from solespan.dashboards.order import AT_REST
from solespan.forecast.dates.day_words import list_date
from solespan.forecast.planning.verdict import LOOK, state_of

__all__ = ["verdict"]

_SOON_DAYS = 90


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
