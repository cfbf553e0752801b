"""Wording of dates and numbers.

How are dates, chances and thicknesses said in words, without a precision nobody has?

Dates in sentences have the long form (12 March 2027), dates in tables the short one (12 Mar 2027).
Files and forms have ISO 8601. Month names are English whatever the locale of the machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import pandas as pd
from pandas.api.typing import NaTType

from solespan.forecast.dates.day_words import MONTHS

__all__ = [
    "DEFAULT_HORIZON_DAYS",
    "MONTHS",
    "about_days",
    "around",
    "between",
    "beyond",
    "chance",
    "due_sentence",
    "first_foot",
    "iso",
    "joined",
    "long_date",
    "millimetres",
    "money",
    "plural",
    "short_date",
    "spaced",
    "span",
    "unbroken",
]

DEFAULT_HORIZON_DAYS = 1826

SMALL_NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
DAYS_PER_YEAR = 365.25
DAYS_PER_MONTH = DAYS_PER_YEAR / 12


def long_date(day: pd.Timestamp) -> str:
    """Say a day in full: 12 March 2027."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def short_date(day: date | pd.Timestamp | None) -> str:
    """Say a day in few letters: 12 Mar 2027; a missing one as an empty string."""
    if day is None or pd.isna(day):
        return ""
    return f"{day.day} {MONTHS[day.month - 1][:3]} {day.year}"


def iso(day: pd.Timestamp | None) -> str:
    """Write a day as 2027-03-12; a missing one as an empty string."""
    return "" if day is None or pd.isna(day) else f"{day:%Y-%m-%d}"


def around(day: pd.Timestamp) -> str:
    """Say a day no finer than a third of a month: early, mid or late March 2027."""
    part = "early" if day.day <= 10 else "mid" if day.day <= 20 else "late"
    return f"{part} {MONTHS[day.month - 1]} {day.year}"


def money(minor: float | None, currency: str | None) -> str:
    """Say an amount: 0.52 EUR, 150 EUR; what is missing is not known."""
    if minor is None or pd.isna(minor):
        return "not known"
    amount = f"{minor / 100:.0f}" if abs(minor) >= 10_000 else f"{minor / 100:.2f}"
    return f"{amount} {currency or ''}".strip()


def between(first: pd.Timestamp, last: pd.Timestamp) -> str:
    """Say an interval of days, with the year once where it is the same."""
    if first.year == last.year:
        start = f"{first.day} {MONTHS[first.month - 1]}"
        if first == last:
            return f"on about {long_date(first)}"
    else:
        start = long_date(first)
    return f"between {start} and {long_date(last)}"


def beyond(horizon_days: int | None = DEFAULT_HORIZON_DAYS) -> str:
    """Say that a date lies past the horizon: beyond five years; None where it is not known."""
    if horizon_days is None:
        return "beyond the forecast's horizon"
    years = max(1, round(horizon_days / DAYS_PER_YEAR))
    number = SMALL_NUMBERS[years - 1] if years <= len(SMALL_NUMBERS) else str(years)
    return f"beyond {number} year{'' if years == 1 else 's'}"


def about_days(days: float) -> str:
    """Say how far off a day is, coarser the further it is: in about 5 months."""
    if days <= 0:
        return "now"
    for unit, unit_days, until_days in (
        ("day", 1.0, 14),
        ("week", 7.0, 70),
        ("month", DAYS_PER_MONTH, 730),
    ):
        if days < until_days:
            return f"in about {plural(max(1, round(days / unit_days)), unit)}"
    halves = round(2 * days / DAYS_PER_YEAR)
    number = f"{halves // 2}½" if halves % 2 else f"{halves // 2}"
    return f"in about {number} years"


def due_sentence(
    p10: pd.Timestamp | NaTType,
    p90: pd.Timestamp | NaTType,
    *,
    today: pd.Timestamp,
    horizon_days: int | None = DEFAULT_HORIZON_DAYS,
) -> str:
    """Say the 80 % interval of a due date; NaT means beyond the horizon."""
    far = beyond(horizon_days)
    if pd.isna(p10):
        return far
    if pd.isna(p90):
        return (
            f"not before {long_date(p10)}, perhaps {far}"
            if p10 > today
            else f"now or later, perhaps {far}"
        )
    if p90 <= today:
        return "at its limit already"
    if p10 <= today:
        return f"now or by {long_date(p90)}"
    return between(p10, p90)


def first_foot(foot: object) -> str:
    """Say which foot is likelier to be due first, or that it is undecided."""
    return f"{foot} shoe first" if foot in ("left", "right") else "both shoes about even"


def chance(probability: float) -> str:
    """Say a chance in steps of 5 %, and its ends as under 1 % and over 99 %."""
    percent = 100 * probability
    if percent < 1:
        return "under 1 %"
    if percent > 99:
        return "over 99 %"
    if percent < 5 or percent > 95:
        return f"about {percent:.0f} %"
    return f"about {5 * round(percent / 5)} %"


def millimetres(value_mm: float, digits: int = 1) -> str:
    """Write a thickness with its unit."""
    return f"{value_mm:.{digits}f} mm"


def unbroken(sentence: str) -> str:
    """Keep a number and its unit on one line."""
    for unit in ("%", "mm"):
        sentence = sentence.replace(f" {unit}", f"\N{NO-BREAK SPACE}{unit}")
    return sentence


def plural(count: int, noun: str) -> str:
    """Count a noun: 1 pair, 2 pairs."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def joined(parts: Sequence[str]) -> str:
    """Join phrases with commas and a last `and`."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def spaced(word: Any) -> str:
    """Write a word of the contract for reading: oak_bark_leather becomes oak bark leather."""
    return "" if word is None or pd.isna(word) else str(word).replace("_", " ")


def span(days: float) -> str:
    """Say a length of time, coarser the longer it is: 9 days, 6 weeks, 5 months."""
    words = about_days(max(days, 1))
    return words.removeprefix("in about ")
