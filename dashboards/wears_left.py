"""Wears left: how many more wear days does a forecast give a sole, in words?

Page, list, command and message say it with these two functions, so that it has the same words.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import floor
from typing import Any

import pandas as pd

from solespan.forecast.dates.reasons import UNLOGGED

__all__ = ["wears_in_words", "wears_left", "wears_short"]

_AT_REST = ("away", "retired")
_PACE = ", from the pace, as no wear is logged"


def wears_in_words(row: Mapping[str, Any]) -> tuple[int, int, int] | None:
    """Round the wears left of one forecast row: middle, low and high; None where not known.

    Whole wears that are left, no finer than their spread: in fives from 30 on, in tens from 100 on.
    """
    values = [row.get(f"wears_left_p{share}") for share in (50, 10, 90)]
    if row.get("band") in _AT_REST or any(value is None or pd.isna(value) for value in values):
        return None
    middle, low, high = (_rounded(float(value)) for value in values if value is not None)
    return middle, low, high


def wears_left(row: Mapping[str, Any]) -> str:
    """Say the wears left of one forecast row: about 9 wears left (6 to 14); empty if not known."""
    known = wears_in_words(row)
    if known is None:
        return ""
    middle, low, high = known
    if high == 0:
        return "no wear left"
    noun = "wear" if middle <= 1 else "wears"
    said = f"about {middle} {noun} left" if middle else "under 1 wear left"
    spread = f" ({low} to {high})" if low < high else ""
    return f"{said}{spread}{_PACE if _from_pace(row) else ''}"


def wears_short(row: Mapping[str, Any]) -> str:
    """Say the same for a narrow place: ~9 wears (6-14)."""
    known = wears_in_words(row)
    if known is None:
        return ""
    middle, low, high = known
    spread = f" ({low}-{high})" if low < high else ""
    return f"~{middle} {'wear' if middle == 1 else 'wears'}{spread}"


def _from_pace(row: Mapping[str, Any]) -> bool:
    reason = row.get("reason")
    return isinstance(reason, str) and UNLOGGED in reason


def _rounded(wears: float) -> int:
    step = 1 if wears < 30 else 5 if wears < 100 else 10
    return step * floor(wears / step)
