"""HTTP schemas of fields.

How does one column of the contract look as a field of the service's messages?

Types, bounds, words and units come from `forecast.frames`, so a column added there appears here by
itself. Every description ends with its unit.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints

from solespan.forecast.frames import Column
from solespan.forecast.values import (
    EARLIEST,
    ID_LENGTH,
    LATEST,
    TEXT_LENGTH,
    TEXT_PATTERNS,
    bounds,
)

__all__ = [
    "KnownId",
    "NewId",
    "PlainDate",
    "answered_type",
    "column_type",
    "described",
    "unit_of",
    "with_a_host",
]

MAX_NEW_ID_LENGTH = 64

# A new id can stand in an address as it is; files may have brought others, which are only quoted.
NEW_ID_PATTERN = r"^[A-Za-z0-9](?:[A-Za-z0-9._-]*[A-Za-z0-9_-])?$"
KNOWN_ID_PATTERN = r"^[^\x00-\x1f\x7f]+$"

NewId = Annotated[
    str, StringConstraints(min_length=1, max_length=MAX_NEW_ID_LENGTH, pattern=NEW_ID_PATTERN)
]
KnownId = Annotated[
    str, StringConstraints(min_length=1, max_length=ID_LENGTH, pattern=KNOWN_ID_PATTERN)
]

_TEXT = (r"^[^\x00]*$", TEXT_LENGTH, "")
_UNITS = {
    "id": "none (identifier)",
    "text": "none (text)",
    "word": "none (word)",
    "date": "calendar date, ISO 8601",
    "flag": "true or false",
}


def unit_of(column: Column) -> str:
    """Say the unit of a column in words, also where it has none."""
    return column.unit or _UNITS.get(column.kind, "none (number)")


def _plain_date(value: object) -> object:
    """Refuse numbers and timestamps, which would silently become dates."""
    plain = isinstance(value, str) and len(value) == len("YYYY-MM-DD")
    if not plain and type(value) is not dt.date:
        raise ValueError("a calendar date is written as YYYY-MM-DD")
    return value


def _in_calendar(value: dt.date) -> dt.date:
    if not EARLIEST <= value <= LATEST:
        raise ValueError(f"a date from {EARLIEST} to {LATEST} is accepted")
    return value


def _no_flag(value: object) -> object:
    """Refuse true and false where a number is meant."""
    if value is True or value is False:
        raise ValueError("a number is needed here, not true or false")
    return value


PlainDate = Annotated[dt.date, BeforeValidator(_plain_date), AfterValidator(_in_calendar)]


def _integer(column: Column) -> Any:
    low, high = bounds(column)
    return Annotated[int, Field(ge=int(low), le=int(high)), BeforeValidator(_no_flag)]


def _number(column: Column) -> Any:
    bounds = Field(ge=column.low, le=column.high, allow_inf_nan=False)
    return Annotated[float, bounds, BeforeValidator(_no_flag)]


def _text(column: Column) -> Any:
    pattern, length, _ = TEXT_PATTERNS.get(column.name, _TEXT)
    return Annotated[str, StringConstraints(max_length=length, pattern=pattern)]


_KINDS: dict[str, Callable[[Column], Any]] = {
    "id": lambda _column: KnownId,
    "text": _text,
    "word": lambda column: Literal[column.words],
    "date": lambda _column: PlainDate,
    "number": _number,
    "integer": _integer,
    "flag": lambda _column: Annotated[bool, Field(strict=True)],
}


def column_type(column: Column) -> Any:
    """Return the annotated type of one column, without its description."""
    return _KINDS[column.kind](column)


def described(column: Column, more: str = "") -> str:
    """Say what a column means, ending in its unit."""
    return f"{column.meaning}{more}. Unit: {unit_of(column)}"


def answered_type(column: Column) -> Any:
    """Return the plain type of one column in an answer: rows may be older than a bound."""
    plain = {"date": dt.date, "number": float, "integer": int, "flag": bool}
    return plain.get(column.kind, str)


def with_a_host(address: str) -> str:
    """Return an address that programs can read. Raises `ValueError` for another."""
    try:
        parts = urlsplit(address)
        if parts.hostname and (parts.port is None or parts.port > 0):
            return address
    except ValueError:
        pass
    raise ValueError("give an address with a host, such as https://shop.example/hook")
