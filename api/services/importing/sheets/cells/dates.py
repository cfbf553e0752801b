"""Dates of sheets: which day does a cell name, in which order of day and month?

All cells of a sheet tell the order. A part over 12 is a day, no day lies in the future, and a diary
is in order. What remains open is asked. A cell may name a month or a year alone: the middle
of it is taken and marked as assumed.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from solespan.api.services.importing.sheets.cells.words import plain, values_of, word_of
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = ["DAY_FIRST", "MONTH_FIRST", "DateStyle", "Day", "order_of", "read_day", "read_days"]

DAY_FIRST, MONTH_FIRST = "day first", "month first"
SERIAL_ZERO = date(1899, 12, 30)
SERIALS = (20_000, 80_000)  # 1954 to 2119
YEARS = (1950, 2100)
LONGEST = 60
_WEEK = re.compile(
    r"(?:kw|wk|cw|week|weeks|woche|semaine|sem|settimana|semana|w)\s?(\d{1,2})(?: (\d{4}))?"
)
_ANY_DIGIT = re.compile(r"\d")
SPLITS = (r"[;\n|]", r"\s[&+]\s|\s(?:and|und|et|e|y|en)\s|,\s*", r"[,&+/]")
_PARTS = re.compile(r"(\d{1,4})\s*[./\-\s]\s*(\d{1,2})\s*[./\-\s]\s*(\d{1,4})\.?")
_SHORT = re.compile(r"(\d{1,2})\s*[./-]\s*(\d{1,2})\.?")
_MONTH_YEAR = re.compile(r"(\d{1,2})\s*[./-]\s*(\d{4})|(\d{4})\s*[./-]\s*(\d{1,2})")
_CLOCK = re.compile(
    r"[T\s,]+\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?\s*([AaPp]\.?[Mm]\.?)?(Z|[+-]\d\d:?\d\d)?$"
)
_ABOUT = re.compile(
    r"^(ca|circa|about|approx|around|etwa|um|env|environ|vers|circa|~)\b\.?\s*|^~\s*", re.IGNORECASE
)
SEASONS = {
    4: ("spring", "fruhling", "fruhjahr", "printemps", "primavera", "lente"),
    7: ("summer", "sommer", "ete", "estate", "verano", "zomer"),
    10: ("autumn", "fall", "herbst", "automne", "autunno", "otono", "herfst"),
    1: ("winter", "hiver", "inverno", "invierno"),
}


@dataclass(frozen=True)
class DateStyle:
    """How dates of a sheet are read: the order, and the year of dates that name none."""

    order: str = DAY_FIRST
    year: int | None = None


@dataclass(frozen=True)
class Day:
    """A day that a cell names; `exact` is false where the cell names a month or a year alone."""

    day: date
    exact: bool = True


def read_day(cell: Cell, style: DateStyle) -> Day | None:
    """Read one day; None = the cell names none."""
    if isinstance(cell, date):
        return Day(cell)
    if isinstance(cell, bool) or cell is None:
        return None
    if isinstance(cell, float):
        return _number(cell)
    return _read_text(cell, style.order, style.year)


@lru_cache(maxsize=50_000)
def _read_text(cell: str, order: str, year: int | None) -> Day | None:
    if len(cell) > LONGEST or not (_ANY_DIGIT.search(cell) or year):
        return None
    style = DateStyle(order, year)
    text = _ABOUT.sub("", re.sub(r"\([^)]*\)", " ", cell).strip())
    text = _CLOCK.sub("", text).strip()
    if re.fullmatch(r"\d+(\.0+)?", text):
        return _number(float(text))
    found = _parts(text, style) or _words(text, style)
    first = text.split(" ")[0].rstrip(".,")
    if found is None and " " in text and word_of("weekday", first, near=False)[0]:
        return read_day(text.split(" ", 1)[1], style)
    return found


def read_days(cell: Cell, style: DateStyle) -> list[Day] | None:
    """Read a cell that lists days; None = some part of it names none."""
    whole = read_day(cell, style)
    if whole is not None:
        return [whole]
    if not isinstance(cell, str):
        return None
    for split in SPLITS:
        pieces = [piece.strip() for piece in re.split(split, cell) if piece and piece.strip()]
        pieces = [p for p in pieces if not word_of("yes_no", p, near=False)[0]] or pieces
        days = [read_day(piece, style) for piece in pieces]
        if pieces != [cell.strip()] and days and all(days):
            return [day for day in days if day is not None]
    return None


def _made(year: int, month: int, day: int, *, exact: bool = True) -> Day | None:
    if year < 100:
        year += 2000 if year < 70 else 1900
    try:
        return Day(date(year, month, day), exact)
    except ValueError:
        return None


def _number(value: float) -> Day | None:
    if SERIALS[0] < value < SERIALS[1]:
        return Day(SERIAL_ZERO + timedelta(days=int(value)))
    if value == int(value) and YEARS[0] <= value <= YEARS[1]:
        return _made(int(value), 7, 1, exact=False)
    digits = str(int(value))
    if len(digits) == 8 and digits[:2] in ("19", "20"):
        return _made(int(digits[:4]), int(digits[4:6]), int(digits[6:]))
    return None


def _parts(text: str, style: DateStyle) -> Day | None:
    if parts := _PARTS.fullmatch(text):
        first, second, third = (int(part) for part in parts.groups())
        if len(parts[1]) >= 3:
            return _made(first, second, third)
        return _in_order(third, first, second, style)
    if parts := _MONTH_YEAR.fullmatch(text):
        month, year = (parts[1], parts[2]) if parts[1] else (parts[4], parts[3])
        return _made(int(year), int(month), 15, exact=False)
    if style.year and (parts := _SHORT.fullmatch(text)):
        return _in_order(style.year, int(parts[1]), int(parts[2]), style)
    return None


def _in_order(year: int, first: int, second: int, style: DateStyle) -> Day | None:
    """Read two numbers in the order of the style, or in the other where that is no day."""
    ways = [_made(year, second, first), _made(year, first, second)]
    ways = ways[::-1] if style.order == MONTH_FIRST else ways
    return ways[0] or ways[1]


def _words(text: str, style: DateStyle) -> Day | None:
    """Read a date with the month, the season, the week or the quarter in words."""
    words = " ".join(plain(text).split())
    fillers = values_of("filler_date")
    tokens = [token for token in re.findall(r"[a-z]+|\d+", words) if token not in fillers]
    numbers = [int(token) for token in tokens if token.isdigit()]
    names = [token for token in tokens if token.isalpha()]
    if len(names) != 1 or len(numbers) > 2:
        return None
    month = word_of("month", names[0], near=False)[0]
    if month:
        return _of_month(text, int(month), numbers, style)
    middle = next((m for m, seasons in SEASONS.items() if names[0] in seasons), 0)
    if middle and len(numbers) == 1:
        return _made(numbers[0], middle, 15, exact=False)
    if week := _WEEK.fullmatch(words):
        return _of_week(int(week[2] or style.year or 0), int(week[1]))
    quarter = re.fullmatch(r"q([1-4]) (\d{4})", words)
    return _made(int(quarter[2]), 3 * int(quarter[1]) - 1, 15, exact=False) if quarter else None


def _of_month(text: str, month: int, numbers: list[int], style: DateStyle) -> Day | None:
    if len(numbers) == 2:
        day, year = numbers[::-1] if numbers[0] > 31 else numbers
        return _made(year, month, day)
    if numbers and (numbers[0] > 31 or re.fullmatch(r"[^\W\d]+\.?\s*[-'\u2019/]\s*\d\d", text)):
        return _made(numbers[0], month, 15, exact=False)
    if not style.year:
        return None
    return _made(style.year, month, numbers[0] if numbers else 15, exact=bool(numbers))


def _of_week(year: int, week: int) -> Day | None:
    try:
        return Day(date.fromisocalendar(year, week, 1), exact=False)
    except ValueError:
        return None


def order_of(cells: Iterable[Cell], today: date) -> tuple[str, str]:
    """Find the order of day and month by all cells.

    Returns the order (empty = open), and a cell that can be read in both ways (empty = none).
    """
    votes: Counter[str] = Counter()
    open_cells: list[str] = []
    ways: dict[str, list[date]] = {DAY_FIRST: [], MONTH_FIRST: []}
    for text in _single_dates(cells):
        parts = _PARTS.fullmatch(text)
        if parts is None or len(parts[1]) > 2:
            continue
        first, second = int(parts[1]), int(parts[2])
        as_day = read_day(text, DateStyle(DAY_FIRST))
        as_month = read_day(text, DateStyle(MONTH_FIRST))
        if as_day is None or as_month is None:
            continue
        ways[DAY_FIRST].append(as_day.day)
        ways[MONTH_FIRST].append(as_month.day)
        if first > 12 or second > 12:
            votes[DAY_FIRST if first > 12 else MONTH_FIRST] += 1
        elif first != second:
            open_cells.append(text)
            if (as_day.day > today) != (as_month.day > today):
                votes[MONTH_FIRST if as_day.day > today else DAY_FIRST] += 1
    example = open_cells[0] if open_cells else ""
    if votes:
        return votes.most_common(1)[0][0], example
    in_order = [way for way, days in ways.items() if len(set(days)) > 5 and _sorted(days)]
    return (in_order[0] if len(in_order) == 1 else ""), example


def _sorted(days: list[date]) -> bool:
    return days in (sorted(days), sorted(days, reverse=True))


def _single_dates(cells: Iterable[Cell]) -> Iterable[str]:
    for cell in cells:
        if isinstance(cell, str) and len(cell) < 400:
            for piece in re.split(r"[;,\n|&+]|\s(?:and|und|et|e|y|en)\s", cell):
                yield _CLOCK.sub("", re.sub(r"\([^)]*\)", " ", piece).strip())
