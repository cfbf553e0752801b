"""Values of a column: which texts and numbers can be true, and which words say what is accepted.

Cells of files, fields of forms, frames and messages of the service all ask here, so a bound and
its sentence stand once.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable
from datetime import date, timedelta
from numbers import Integral, Real
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.columns import Column
from solespan.forecast.errors import BadArgument
from solespan.forecast.frames import WORKS

__all__ = [
    "EARLIEST",
    "ID_LENGTH",
    "LARGEST_WHOLE",
    "LATEST",
    "TEXT_LENGTH",
    "TEXT_PATTERNS",
    "BadValue",
    "accepted",
    "bounds",
    "day_of",
    "instance_of",
    "number_of",
    "outside",
    "reader_of",
]

EARLIEST = date(1900, 1, 1)
LATEST = date(2199, 12, 31)
LARGEST_WHOLE = 9_000_000_000_000_000  # exact in a 64-bit float
ID_LENGTH = 200
TEXT_LENGTH = 2000
_ANY_WORK = "|".join(WORKS)
# Column -> pattern, longest text, and the words for both; any other text only may not hold NUL.
TEXT_PATTERNS: dict[str, tuple[str, int, str]] = {
    "currency": ("^[A-Z]{3}$", 3, "an ISO 4217 code of three capitals, such as EUR"),
    "time_zone": ("^[A-Za-z0-9/_+-]+$", 40, "an IANA name, such as Europe/Vienna or UTC"),
    "email": (r"^[^@\s\x00]+@[^@\s\x00]+$", 320, "an address with one @, such as name@host"),
    "phone": (r"^[+(]?[0-9][0-9 ()./-]*$", 40, "digits with spaces, such as +43 1 2345678"),
    "language": ("^[a-z]{2}$", 2, "an ISO 639-1 code of two small letters, such as de"),
    "more_works": (
        f"^(?:{_ANY_WORK})(?: (?:{_ANY_WORK}))*$",
        200,
        f"works with one space between: {', '.join(WORKS)}",
    ),
}
_WHAT = {
    "currency": "a currency code",
    "time_zone": "a known time zone",
    "email": "an e-mail address",
    "phone": "a telephone number",
    "language": "a language code",
    "more_works": "a list of works",
}
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_PARTED_DATE = re.compile(r"(\d{1,4})[./ -](\d{1,2})[./ -](\d{1,4})", re.ASCII)
_NOT_A_QUANTITY = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


class BadValue(ValueError):
    """A text cannot be read as its column's kind; `why`, and what would be `accepted`."""

    def __init__(self, why: str, accepted: str) -> None:
        super().__init__(why)
        self.why = why
        self.accepted = accepted


def bounds(column: Column) -> tuple[float, float]:
    """Return the smallest and the largest number of a column, in its unit."""
    widest = LARGEST_WHOLE if column.kind == "integer" else math.inf
    low = -widest if column.low is None else column.low
    return low, widest if column.high is None else column.high


def outside(column: Column) -> str:
    """Say that a number of this column is out of its bounds."""
    low, high = bounds(column)
    return f"outside {low:g} to {high:g} {column.unit}".rstrip()


def accepted(column: Column) -> str:
    """Say what a column accepts, as a phrase that follows `give` or `accepted:`."""
    if column.kind in ("number", "integer"):
        number = "a whole number" if column.kind == "integer" else "a number"
        if column.high is None:
            return number if column.low is None else f"{number}, {column.low:g} or more"
        low = bounds(column)[0]
        return f"{number} from {low:g} to {column.high:g} {column.unit}".rstrip()
    if column.kind == "word":
        return f"one of {', '.join(column.words)}"
    if column.kind == "text":
        return TEXT_PATTERNS.get(column.name, ("", 0, f"up to {TEXT_LENGTH} characters"))[2]
    return {
        "date": "a day as YYYY-MM-DD",
        "flag": "true or false",
        "id": f"1 to {ID_LENGTH} characters on one line, no spaces around them",
    }[column.kind]


def reader_of(column: Column) -> Callable[[str], Any]:
    """Return the function that reads one text that is not empty.

    It returns str, bool, float or `date`, and raises `BadValue`.
    """
    read = _READERS[column.kind]
    return lambda text: read(column, text)


def day_of(argument: str, value: object) -> pd.Timestamp:
    """Read an argument that is a day: a text, a `date`, or a time stamp of any kind.

    Raises
    ------
    BadArgument
        It is no day, or one before 1900 or after 2199.
    """
    say = f"a day from {EARLIEST} to {LATEST}, such as '2026-11-23' or a date"
    readable = isinstance(value, date | np.datetime64) or (
        isinstance(value, str) and _ISO_DATE.match(value)
    )
    try:
        day: Any = pd.Timestamp(value) if readable else pd.NaT  # type: ignore[arg-type]
    except ValueError:
        raise BadArgument(argument, value, say) from None
    if day is pd.NaT or not EARLIEST <= day.date() <= LATEST:
        raise BadArgument(argument, value, say)
    return pd.Timestamp(day.tz_localize(None).normalize())


def instance_of(argument: str, value: Any, kind: Any, accepted: str) -> Any:
    """Return an argument if it is of a class; else raise `BadArgument`."""
    if not isinstance(value, kind):
        raise BadArgument(argument, value, accepted)
    return value


def number_of(
    argument: str, value: Any, low: float, high: float, *, whole: bool = False, unit: str = ""
) -> float:
    """Return an argument that is a number within two bounds; else raise `BadArgument`."""
    kind = "a whole number" if whole else "a number"
    say = f"{kind} from {low:g} to {high:g} {unit}".rstrip()
    number: Any = value
    is_number = isinstance(value, Integral if whole else Real)
    if not is_number or isinstance(value, bool | np.bool_) or not low <= number <= high:
        raise BadArgument(argument, value, say)
    return float(value)


def _id(column: Column, text: str) -> str:
    if len(text) > ID_LENGTH or text != text.strip() or _CONTROL.search(text):
        raise BadValue(
            "this identifier is too long, or has spaces around it or a line break in it",
            accepted(column),
        )
    return text


def _text(column: Column, text: str) -> str:
    if column.name in TEXT_PATTERNS:
        pattern, length, words = TEXT_PATTERNS[column.name]
        if len(text) > length or not re.fullmatch(pattern, text):
            raise BadValue(f"this is not {_WHAT[column.name]}", words)
    if len(text) > TEXT_LENGTH:
        raise BadValue(f"the text has {len(text)} characters", f"at most {TEXT_LENGTH}")
    if "\0" in text:
        raise BadValue("the text holds a NUL character", "printable text")
    return text


def _word(column: Column, text: str) -> str:
    if text in column.words:
        return text
    wanted = text.strip().lower().replace(" ", "_")
    near = difflib.get_close_matches(wanted, column.words, n=1, cutoff=0.5)
    hint = f"; the nearest is {near[0]!r}" if near else ""
    raise BadValue(f"unknown word{hint}", accepted(column))


def _flag(column: Column, text: str) -> bool:
    word = text.lower()
    if word not in ("true", "false"):
        raise BadValue("this is neither true nor false", accepted(column))
    return word == "true"


def _number(column: Column, text: str) -> float:
    if _NOT_A_QUANTITY.fullmatch(text):
        raise BadValue("this is not a quantity that can be read off anything", accepted(column))
    if not _NUMBER.fullmatch(text):
        comma = re.fullmatch(r"[+-]?\d+,\d+", text)
        hint = f"; write {text.replace(',', '.')} with a decimal point" if comma else ""
        raise BadValue(f"this is not a number{hint}", accepted(column))
    low, high = bounds(column)
    value = float(text)
    if not low <= value <= high:
        raise BadValue(outside(column), accepted(column))
    if column.kind == "integer" and value != math.floor(value):
        raise BadValue("this is not a whole number", accepted(column))
    return value + 0.0  # no negative zero


def _date(column: Column, text: str) -> date:
    if not _ISO_DATE.fullmatch(text):
        raise BadValue(f"this date is not in ISO order{_date_hint(text)}", accepted(column))
    try:
        value = date.fromisoformat(text)
    except ValueError:
        raise BadValue("there is no such day in the calendar", accepted(column)) from None
    if not EARLIEST <= value <= LATEST:
        raise BadValue(f"this date is before {EARLIEST} or after {LATEST}", accepted(column))
    return value


def _date_hint(text: str) -> str:
    """Guess which day is meant, without choosing where it is open."""
    if _ISO_DATE.match(text) and text[10:11] in ("T", " "):
        return f"; write {text[:10]}"
    if re.fullmatch(r"\d{5}", text, re.ASCII) and 20_000 < int(text) < 80_000:
        counted = date(1899, 12, 30) + timedelta(days=int(text))
        return f"; it looks like a spreadsheet's day number, which would be {counted}"
    if re.fullmatch(r"(19|20)\d{6}", text, re.ASCII):
        return f"; write {text[:4]}-{text[4:6]}-{text[6:]}"
    parts = _PARTED_DATE.fullmatch(text)
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
    if len({written for _, written in guesses}) == 1:
        return f"; write {guesses[0][1]}"
    return "; write " + ", ".join(f"{t}{said}" for said, t in guesses) if guesses else ""


_READERS: dict[str, Callable[[Column, str], Any]] = {
    "id": _id,
    "text": _text,
    "word": _word,
    "flag": _flag,
    "number": _number,
    "integer": _number,
    "date": _date,
}
