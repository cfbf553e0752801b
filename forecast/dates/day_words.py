"""Day words: how is one day said in English, in a list, a sentence and a refusal?

Files, forms and programs have ISO 8601. Names of months and weekdays are English whatever the
locale of the machine. Other languages are said by `dashboards.language`.
"""

from __future__ import annotations

from datetime import date

import pandas as pd

__all__ = ["MONTHS", "WEEKDAYS", "list_date", "short_day"]

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_NEAR_DAYS, _SOON_DAYS, _MONTHS_DAYS, _YEAR_DAYS = 14, 90, 548, 300
_PARTS = ("early", "mid", "late")


def short_day(day: date, today: date | None = None) -> str:
    """Say a day that is known exactly: today, Mon 7 Dec, and with its year where that is far.

    Without `today` the year is always said.

    Examples
    --------
    >>> short_day(date(2026, 12, 7), date(2026, 12, 1))
    'Mon 7 Dec'
    >>> short_day(date(2026, 12, 7))
    'Mon 7 Dec 2026'
    """
    if day == today:
        return "today"
    short = f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1][:3]}"
    near = today is not None and abs((day - today).days) < _YEAR_DAYS
    return short if near else f"{short} {day.year}"


def list_date(day: pd.Timestamp, today: pd.Timestamp) -> str:
    """Say a forecast day: Mon 7 Dec, 21 March, mid Mar 2027 or early 2029, coarser further off."""
    ahead_days = (day - today).days
    month = MONTHS[day.month - 1]
    if ahead_days < _NEAR_DAYS:
        return f"{WEEKDAYS[day.weekday()]} {day.day} {month[:3]}"
    if ahead_days <= _SOON_DAYS:
        return f"{day.day} {month}"
    if ahead_days <= _MONTHS_DAYS:
        letters = 4 if day.month == 9 else 3
        return f"{_PARTS[min(day.day - 1, 29) // 10]} {month[:letters]} {day.year}"
    return f"{_PARTS[(day.month - 1) // 4]} {day.year}"
