"""Plain cells: how is a cell read whose meaning its column alone tells?

Each reader takes the record, the use of the column, the cell and its text. It adds what it read to
the record, and returns whether it could.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from solespan.api.clock import is_time_zone
from solespan.api.services.importing.sheets.assembly.record import Record
from solespan.api.services.importing.sheets.cells.quantities import (
    currency_in,
    read_frequency,
    read_hours,
    read_minutes,
    read_money,
    read_number,
    read_size,
    unit_in,
)
from solespan.api.services.importing.sheets.cells.words import plain, word_of
from solespan.api.services.importing.sheets.layout.use import Use
from solespan.api.services.importing.sheets.sheet import Cell
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH, TEXT_PATTERNS

__all__ = ["PLAIN_READERS", "Reader"]

Reader = Callable[[Record, Use, Cell, str], bool]
MOST_MINUTES = {"wear_days.driving_minutes": 1440.0}
MOST_COUNTED = {"pairs.earlier_resoles": 30.0}


def _keep(record: Record, use: Use, value: str | float | None) -> bool:
    if value is None or value == "":
        return False
    record.values[use.target] = value
    return True


def _within(value: float | None, high: float) -> float | None:
    return float(value) if value is not None and 0 <= value <= high else None


def _text(record: Record, use: Use, _cell: Cell, text: str) -> bool:
    return _keep(record, use, " ".join(text.split())[:TEXT_LENGTH])


def _id(record: Record, use: Use, _cell: Cell, text: str) -> bool:
    return _keep(record, use, " ".join(text.split())[:ID_LENGTH])


def _email(record: Record, use: Use, _cell: Cell, text: str) -> bool:
    pattern, longest, _ = TEXT_PATTERNS["email"]
    address = re.sub(r"^mailto:|[<>\s]", "", text.strip(" ,;"))
    return bool(re.fullmatch(pattern, address)) and _keep(record, use, address[:longest])


def _phone(record: Record, use: Use, _cell: Cell, text: str) -> bool:
    pattern, longest, _ = TEXT_PATTERNS["phone"]
    number = " ".join(re.sub(r"[^\d+()/ .-]", " ", text).split())
    good = re.fullmatch(pattern, number) and 5 < len(number) <= longest
    return bool(good) and _keep(record, use, number)


def _language(record: Record, use: Use, _cell: Cell, text: str) -> bool:
    name = text.replace("_", "-").split("-")[0]
    return _keep(record, use, word_of("language", name, near=False)[0])


def _zone(record: Record, use: Use, _cell: Cell, text: str) -> bool:
    return is_time_zone(text) and _keep(record, use, text)


def _flag(record: Record, use: Use, cell: Cell, text: str) -> bool:
    word = word_of("yes_no", text)[0]
    number = read_number(cell)
    if not word and number is not None:
        word = "yes" if number > 0 else "no"
    return bool(word) and _keep(record, use, "true" if word == "yes" else "false")


def _unit(record: Record, _use: Use, _cell: Cell, text: str) -> bool:
    record.unit = unit_in(text) or ("inch" if plain(text) == "in" else "")
    return bool(record.unit)


def _hours(record: Record, use: Use, cell: Cell, _text: str) -> bool:
    return _keep(record, use, _within(read_hours(cell), 24))


def _minutes(record: Record, use: Use, cell: Cell, _text: str) -> bool:
    return _keep(record, use, _within(read_minutes(cell), MOST_MINUTES.get(use.target, 100_000)))


def _count(record: Record, use: Use, cell: Cell, _text: str) -> bool:
    most = MOST_COUNTED.get(use.target, 200_000)
    value = _within(read_number(cell, grouped=True), most)
    if value is None or value != int(value):
        return False
    if use.target == "pairs.wear_count":  # of several years or months
        value += record.number(use.target) or 0.0
        record.periods += [use.period] if use.period else []
    return _keep(record, use, value)


def _frequency(record: Record, use: Use, cell: Cell, _text: str) -> bool:
    return _keep(record, use, _within(read_frequency(cell, use.header), 7))


def _size(record: Record, use: Use, cell: Cell, _text: str) -> bool:
    return _keep(record, use, read_size(cell, use.header))


def _currency(record: Record, use: Use, _cell: Cell, text: str) -> bool:
    code = currency_in(text) or (text.upper() if re.fullmatch(r"[A-Za-z]{3}", text) else "")
    return _keep(record, use, code)


def _money(record: Record, use: Use, cell: Cell, _text: str) -> bool:
    amount = read_money(cell, currency_in(use.header) or use.facets.get("currency", ""))
    if amount is None:
        return False
    if amount[1]:
        record.values[f"{use.target}.currency"] = amount[1]
    return _keep(record, use, float(amount[0]))


def _event(record: Record, _use: Use, _cell: Cell, text: str) -> bool:
    record.events.append(text)
    return True


PLAIN_READERS: dict[str, Reader] = {
    "text": _text,
    "name": _text,
    "label": _text,
    "id": _id,
    "email": _email,
    "phone": _phone,
    "language": _language,
    "zone": _zone,
    "flag": _flag,
    "unit": _unit,
    "hours": _hours,
    "minutes": _minutes,
    "count": _count,
    "frequency": _frequency,
    "size": _size,
    "currency": _currency,
    "money": _money,
    "event": _event,
}
