"""Axis of a calendar: which day, weekday or month does a heading name?"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta

from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_day
from solespan.api.services.importing.sheets.cells.words import plain, word_of
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = ["Axis", "axis_of", "is_year", "join_axes", "month_and_year_in", "text_of"]


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
    if not text or len(text) > 40:
        return None
    if parts := re.fullmatch(r"(\d{1,2})\.?", text):
        return Axis("day", int(parts[1])) if 1 <= int(parts[1]) <= 31 else None
    tokens = plain(text).split()
    if len(tokens) == 1:
        if tokens[0] == "mar":
            return Axis("month", 3)
        if word := word_of("month", tokens[0], near=False)[0]:
            return Axis("month", int(word)) if tokens[0].isalpha() else None
        if word := word_of("weekday", tokens[0], near=False)[0]:
            return Axis("weekday", int(word)) if tokens[0].isalpha() else None
    if len(tokens) == 2 and tokens[0].isalpha() and word_of("weekday", tokens[0], near=False)[0]:
        if tokens[1].isdigit() and 1 <= int(tokens[1]) <= 31:
            return Axis("day", int(tokens[1]))
    plainly = DateStyle(style.order, None)
    found = read_day(cell, plainly)
    if found is not None:
        if found.exact:
            return Axis("date", day=found.day)
        return None if re.fullmatch(r"\d{4}", text) else Axis("month", found.day.month, found.day)
    short = read_day(cell, DateStyle(style.order, 2024))  # a leap year: every day is in it
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
