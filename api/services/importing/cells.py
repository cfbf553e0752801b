"""Cells service: what does one cell say, and if it cannot be read, why and what would be accepted?

Each function takes the text of a cell that is not empty and returns its value, or raises
`BadCell` with the reason. A column is read once per different text, not once per row.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from solespan.api.clock import is_time_zone
from solespan.api.services.importing.formulas import unguard
from solespan.api.storage.tables.rack import ID_LENGTH, TEXT_LENGTH
from solespan.forecast.frames import Column

__all__ = ["EARLIEST", "LATEST", "BadCell", "reader_of"]

EARLIEST = date(1900, 1, 1)
LATEST = date(2199, 12, 31)
LARGEST_WHOLE = 9_000_000_000_000_000  # exact in a 64-bit float
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_PARTED_DATE = re.compile(r"(\d{1,4})[./ -](\d{1,2})[./ -](\d{1,4})", re.ASCII)
_NOT_A_QUANTITY = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


class BadCell(ValueError):
    """The text of a cell cannot be read as its column's kind."""

    def __init__(self, why: str, accepted: str) -> None:
        super().__init__(why)
        self.why = why
        self.accepted = accepted


def reader_of(column: Column) -> Callable[[str], Any]:
    """Return the function that reads one cell of this column."""
    special = _BY_NAME.get(column.name)
    return special or _BY_KIND[column.kind](column)


def _id_reader(_column: Column) -> Callable[[str], str]:
    def read(cell: str) -> str:
        text = unguard(cell)
        if len(text) > ID_LENGTH or text != text.strip() or _CONTROL.search(text):
            raise BadCell(
                "this identifier is too long, or has spaces around it or a line break in it",
                f"1 to {ID_LENGTH} characters on one line, no spaces around them",
            )
        return text

    return read


def _text_reader(_column: Column) -> Callable[[str], str]:
    def read(cell: str) -> str:
        text = unguard(cell)
        if len(text) > TEXT_LENGTH:
            raise BadCell(f"the text has {len(text)} characters", f"at most {TEXT_LENGTH}")
        if "\0" in text:
            raise BadCell("the text holds a NUL character", "printable text")
        return text

    return read


def _time_zone(cell: str) -> str:
    if not is_time_zone(cell):
        raise BadCell("this is not a known time zone", "an IANA name such as Europe/Vienna or UTC")
    return cell


def _currency(cell: str) -> str:
    if not re.fullmatch("[A-Z]{3}", cell):
        raise BadCell("this is not a currency code", "an ISO 4217 code of three capitals, as EUR")
    return cell


def _email(cell: str) -> str:
    text = unguard(cell)
    if not re.fullmatch(r"[^@\s]+@[^@\s]+", text) or len(text) > 320:
        raise BadCell("this is not an e-mail address", "name@host")
    return text


def _word_reader(column: Column) -> Callable[[str], str]:
    accepted = ", ".join(column.words)

    def read(cell: str) -> str:
        if cell in column.words:
            return cell
        wanted = cell.strip().lower().replace(" ", "_")
        near = difflib.get_close_matches(wanted, column.words, n=1, cutoff=0.5)
        hint = f"; the nearest is {near[0]!r}" if near else ""
        raise BadCell(f"unknown word{hint}", accepted)

    return read


def _flag_reader(_column: Column) -> Callable[[str], bool]:
    def read(cell: str) -> bool:
        word = cell.lower()
        if word not in ("true", "false"):
            raise BadCell("this is neither true nor false", "true, false, or empty")
        return word == "true"

    return read


def _number_reader(column: Column) -> Callable[[str], float]:
    low = -math.inf if column.low is None else column.low
    high = math.inf if column.high is None else column.high
    accepted = f"a number from {low:g} to {high:g} {column.unit}".rstrip()

    def read(cell: str) -> float:
        if _NOT_A_QUANTITY.fullmatch(cell):
            raise BadCell("this is not a quantity that can be read off anything", accepted)
        if not _NUMBER.fullmatch(cell):
            comma = re.fullmatch(r"[+-]?\d+,\d+", cell)
            hint = f"; write {cell.replace(',', '.')} with a decimal point" if comma else ""
            raise BadCell(f"this is not a number{hint}", accepted)
        value = float(cell)
        if not low <= value <= high:
            raise BadCell(f"outside {low:g} to {high:g} {column.unit}".rstrip(), accepted)
        return value + 0.0  # no negative zero

    return read


def _integer_reader(column: Column) -> Callable[[str], float]:
    high = LARGEST_WHOLE if column.high is None else column.high
    bounded = Column(column.name, "number", column.meaning, column.unit, low=column.low, high=high)
    read_number = _number_reader(bounded)
    accepted = f"a whole number from {column.low or 0:g} to {high:g}"

    def read(cell: str) -> float:
        try:
            value = read_number(cell)
        except BadCell as bad:
            raise BadCell(bad.why, accepted) from None
        if value != math.floor(value):
            raise BadCell("this is not a whole number", accepted)
        return value

    return read


def _date_reader(column: Column) -> Callable[[str], date]:
    accepted = (
        f"YYYY-MM-DD, from {EARLIEST} to {LATEST if column.name == 'promised_on' else 'today'}"
    )

    def read(cell: str) -> date:
        if not _ISO_DATE.fullmatch(cell):
            raise BadCell(f"this date is not in ISO order{_date_hint(cell)}", accepted)
        try:
            value = date.fromisoformat(cell)
        except ValueError:
            raise BadCell("there is no such day in the calendar", accepted) from None
        if not EARLIEST <= value <= LATEST:
            raise BadCell(f"this date is before {EARLIEST} or after {LATEST}", accepted)
        return value

    return read


def _date_hint(cell: str) -> str:
    """Guess what was meant, without choosing where it is open."""
    if _ISO_DATE.match(cell) and cell[10:11] in ("T", " "):
        return f"; write {cell[:10]}"
    if re.fullmatch(r"\d{5}", cell, re.ASCII) and 20_000 < int(cell) < 80_000:
        counted = date(1899, 12, 30) + timedelta(days=int(cell))
        return f"; it looks like a spreadsheet's day number, which would be {counted}"
    if re.fullmatch(r"(19|20)\d{6}", cell, re.ASCII):
        return f"; write {cell[:4]}-{cell[4:6]}-{cell[6:]}"
    parts = _PARTED_DATE.fullmatch(cell)
    if not parts:
        return ""
    first, second, third = (int(part) for part in parts.groups())
    if len(parts[1]) == 4:
        orders = [("", first, second, third)]
    else:
        year = third if len(parts[3]) == 4 else 2000 + third
        orders = [(" if day first", year, second, first), (" if month first", year, first, second)]
    guesses = []
    for said, year, month, day in orders:
        try:
            guesses.append((said, date(year, month, day).isoformat()))
        except ValueError:
            continue
    if len({text for _, text in guesses}) == 1:
        return f"; write {guesses[0][1]}"
    return "; write " + ", ".join(f"{text}{said}" for said, text in guesses) if guesses else ""


_BY_KIND: dict[str, Callable[[Column], Callable[[str], Any]]] = {
    "id": _id_reader,
    "text": _text_reader,
    "word": _word_reader,
    "flag": _flag_reader,
    "number": _number_reader,
    "integer": _integer_reader,
    "date": _date_reader,
}
_BY_NAME: dict[str, Callable[[str], Any]] = {
    "time_zone": _time_zone,
    "currency": _currency,
    "email": _email,
}
