"""Axis of a calendar: which day, weekday or month does a heading name?"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta

from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_day
from solespan.api.services.importing.sheets.cells.words import plain, word_of
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = ["Axis", "axis_of", "is_year", "join_axes", "month_and_year_in", "text_of"]


LONGEST = 40
LEAP_YEAR = 2024  # every day is in it


@dataclass(frozen=True)
class Axis:
    """What a heading says of a day: kind `date`, `short` (no year), `day`, `weekday` or `month`."""

    kind: str
    value: int = 0
    day: date | None = None


def text_of(cell: Cell) -> str:
    """Write a cell as a person reads it."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell == int(cell) and abs(cell) < 1e15 else repr(cell)
    return cell.isoformat() if isinstance(cell, date) else cell.strip()


def is_year(cell: Cell) -> bool:
    """Whether a heading is a year alone."""
    text = text_of(cell)
    return len(text) == 4 and text.isdigit() and 1950 <= int(text) <= 2100


def axis_of(cell: Cell, style: DateStyle) -> Axis | None:
    """Read a heading as part of a day; None = it names none."""
    if isinstance(cell, date):
        return Axis("date", day=cell)
    text = text_of(cell)
    if not text or len(text) > LONGEST:
        return None
    return _part_of_day(text) or _whole_day(cell, text, style)


def _part_of_day(text: str) -> Axis | None:
    """Read a number of a day, a weekday, a month, or a weekday with a number."""
    tokens = plain(text).split()
    if not tokens or len(tokens) > 2:
        return None
    first, last = tokens[0], tokens[-1]
    weekday = word_of("weekday", first, near=False)[0] if first.isalpha() else ""
    if last.isdigit() and len(last) <= 2 and (weekday or re.fullmatch(r"\d{1,2}\.?", text)):
        return Axis("day", int(last)) if 1 <= int(last) <= 31 else None
    if len(tokens) > 1 or not first.isalpha():
        return None
    month = word_of("month", first, near=False)[0]
    if month:
        return Axis("month", int(month))
    return Axis("weekday", int(weekday)) if weekday else None


def _whole_day(cell: Cell, text: str, style: DateStyle) -> Axis | None:
    found = read_day(cell, DateStyle(style.order, None))
    if found is not None and found.exact:
        return Axis("date", day=found.day)
    if found is not None:
        return None if is_year(text) else Axis("month", found.day.month, found.day)
    short = read_day(cell, DateStyle(style.order, LEAP_YEAR))
    return Axis("short", day=short.day) if short is not None and short.exact else None


def month_and_year_in(text: str) -> tuple[int | None, int | None]:
    """Find the month and the year that a title, a sheet's name or a file's name states."""
    tokens = re.findall(r"[a-z]+|\d+", plain(text.replace("_", " ")))
    years = [int(t) for t in tokens if t.isdigit() and 1950 <= int(t) <= 2100]
    months = [int(word_of("month", t, near=False)[0] or 0) for t in tokens if t.isalpha()]
    month = next((m for m in months if m), None)
    if month is None and years:
        numbered = re.search(
            r"(?:19|20)\d\d\s*[-_./ ]\s*(\d{1,2})\b|\b(\d{1,2})\s*[-_./]\s*(?:19|20)\d\d", text
        )
        if numbered:
            value = int(numbered[1] or numbered[2])
            month = value if 1 <= value <= 12 else None
    return month, (years[0] if years else None)


def join_axes(
    row: Axis | None, column: Axis | None, month: int | None, year: int | None
) -> date | None:
    """Put together what row, column and title say of a day; None = they do not say enough."""
    both = [axis for axis in (row, column) if axis is not None]
    by_kind = {axis.kind: axis for axis in both}
    if "weekday" in by_kind:
        start = by_kind.get("date")
        if start is None or start.day is None:
            return None
        monday = start.day - timedelta(days=start.day.weekday())
        return monday + timedelta(days=by_kind["weekday"].value)
    if "date" in by_kind:
        return by_kind["date"].day
    if "short" in by_kind and year:
        found = by_kind["short"].day
        return _made(year, found.month, found.day) if found else None
    if "day" in by_kind:
        named = by_kind.get("month")
        if named is not None:
            month = named.value
            year = named.day.year if named.day else year
        return _made(year, month, by_kind["day"].value) if month and year else None
    return None


def _made(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
