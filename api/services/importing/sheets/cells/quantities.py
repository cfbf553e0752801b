"""Quantities of sheets: which number, thickness, money or time does a cell state?

A comma or a point is read by what follows it. A cell's own unit comes before that of its header.
"""

from __future__ import annotations

import re

from solespan.api.services.importing.sheets.cells.words import plain
from solespan.api.services.importing.sheets.sheet import Cell
from solespan.forecast.units import MM_PER_INCH, iron_to_mm, ounce_to_mm

__all__ = [
    "CURRENCIES",
    "currency_in",
    "digits",
    "read_frequency",
    "read_hours",
    "read_minutes",
    "read_money",
    "read_number",
    "read_size",
    "read_thickness_mm",
    "unit_in",
]

CURRENCIES = {
    "€": "EUR", "eur": "EUR", "euro": "EUR", "euros": "EUR",
    "£": "GBP", "gbp": "GBP", "pounds": "GBP",
    "$": "USD", "usd": "USD", "dollars": "USD",
    "chf": "CHF", "sfr": "CHF", "fr": "CHF", "franken": "CHF", "¥": "JPY", "jpy": "JPY",
    "sek": "SEK", "dkk": "DKK", "nok": "NOK", "pln": "PLN", "cad": "CAD", "aud": "AUD",
}  # fmt: skip
WITHOUT_CENTS = {"JPY"}
WEEKS = {"week": 1.0, "month": 365.25 / 12 / 7, "year": 365.25 / 7}
PERIODS = {
    "week": ("week", "woche", "wk", "semaine", "settimana", "semana", "weekly", "wochentlich"),
    "month": ("month", "monat", "mois", "mese", "mes", "maand", "monthly", "monatlich"),
    "year": ("year", "jahr", "an", "annee", "anno", "ano", "jaar", "yearly"),
}
EVERY_DAY = 7.0
TIMES = {
    EVERY_DAY: r"\b(daily|taglich|every day|jeden tag|dagelijks|quotidien|ogni giorno)\b",
    1.0: r"\b(once|einmal|une fois|una volta|una vez|weekly|wochentlich|monthly|monatlich)\b",
    2.0: r"\b(twice|zweimal|deux fois|due volte|dos veces|tweemal)\b",
}
MOST_PARTS = 64  # of an inch
_FRACTIONS = {"½": 0.5, "¼": 0.25, "¾": 0.75, "⅛": 0.125, "⅓": 1 / 3, "⅔": 2 / 3}
_SIMPLE = re.compile(r"\d{1,9}(\.\d{1,2})?")
_FRACTION = re.compile(r"(?<![\d.,])(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)(?![\d.,])")
_DIGIT = re.compile(r"[\d½¼¾⅛⅓⅔]")
_NUMBER = re.compile(r"[-+]?\d[\d.,'\u2019\u00a0\u202f ]*")


def read_number(cell: Cell, *, grouped: bool = False) -> float | None:
    """Read the one number of a cell; `grouped` = a sign before three digits groups thousands."""
    if isinstance(cell, float):
        return cell
    text = cell.strip() if isinstance(cell, str) else ""
    if _SIMPLE.fullmatch(text):
        return float(text)
    if not _DIGIT.search(text):
        return None
    extra = 0.0
    if not text.isascii():
        extra = sum(_FRACTIONS.get(c, 0.0) for c in text)
        text = "".join(" " if c in _FRACTIONS else c for c in text)
    if parts := _FRACTION.search(text):
        whole, over, under = int(parts[1] or 0), int(parts[2]), int(parts[3])
        return whole + over / under if over < under <= MOST_PARTS else None
    found = _NUMBER.findall(text)
    if len(found) != 1:
        return extra or None
    return _plain_number(found[0].strip(" .,'\u2019\u00a0\u202f"), grouped=grouped) + extra


def _plain_number(text: str, *, grouped: bool) -> float:
    text = re.sub(r"['\u2019\s\u00a0\u202f]", "", text)
    comma, point = text.rfind(","), text.rfind(".")
    if comma >= 0 and point >= 0:
        decimal, group = (",", ".") if comma > point else (".", ",")
        text = text.replace(group, "").replace(decimal, ".")
    elif comma >= 0 or point >= 0:
        sign = "," if comma >= 0 else "."
        pieces = text.split(sign)
        if len(pieces) > 2 or (grouped and len(pieces[1]) == 3):
            text = "".join(pieces)
        else:
            text = text.replace(",", ".")
    try:
        return float(text)
    except ValueError:
        return float("nan")


def unit_in(text: str) -> str:
    """Return the unit of thickness that a header or a cell names; empty = none."""
    lowered = text.lower()
    if re.search(r"\birons?\b|1/48|\d\s*ir\b", lowered):
        return "iron"
    if re.search(r"\boz\b|ounces?|1/64", lowered):
        return "ounce"
    if re.search(r"\bmm\b|\dmm\b|millim", lowered):
        return "mm"
    if re.search(r"\bcm\b|\dcm\b", lowered):
        return "cm"
    if re.search(r"\binch(es)?\b|\d\s*(in|\"|”|″)(?![a-z])|\((in|\")\)", lowered):
        return "inch"
    return ""


def read_thickness_mm(cell: Cell, unit: str) -> float | None:
    """Read a thickness in mm; `unit` is that of the column."""
    number = read_number(cell)
    if number is None:
        return None
    unit = (unit_in(cell) if isinstance(cell, str) else "") or unit or "mm"
    if unit == "iron":
        value = iron_to_mm(number)
    elif unit == "ounce":
        value = ounce_to_mm(number)
    else:
        value = number * {"mm": 1.0, "cm": 10.0, "inch": MM_PER_INCH}[unit]
    return round(value, 4)


def currency_in(text: str) -> str:
    """Return the ISO 4217 code that a header or a cell names; empty = none."""
    for sign in "€£¥$":
        if sign in text:
            return CURRENCIES[sign]
    return next((CURRENCIES[t] for t in plain(text).split() if t in CURRENCIES), "")


def read_money(cell: Cell, currency: str) -> tuple[int, str] | None:
    """Read an amount in minor units, and its currency: the cell's own, else the column's."""
    number = read_number(cell, grouped=True)
    if number is None or not 0 <= number < 1e9:
        return None
    code = (currency_in(cell) if isinstance(cell, str) else "") or currency
    return round(number * (1 if code in WITHOUT_CENTS else 100)), code


def read_hours(cell: Cell) -> float | None:
    """Read hours: 8, 8.5, 8:30, 8 h, 90 min, whole or half day."""
    if isinstance(cell, str):
        text = plain(cell)
        if parts := re.fullmatch(r"\s*(\d{1,2})\s*[:h]\s*(\d{2})\s*(min|h|m)?\s*", cell.lower()):
            return int(parts[1]) + int(parts[2]) / 60
        if re.search(
            r"\bhalf( a)? day|halber tag|halbtags|demi journee|mezza giornata|medio dia", text
        ):
            return 4.0
        if re.search(
            r"\b(all|whole|full) day|ganzer tag|ganztags|journee|giornata|todo el dia", text
        ):
            return 8.0
        if re.search(r"\d\s*(min|minutes?|minuten)\b", text):
            minutes = read_number(cell)
            return None if minutes is None else round(minutes / 60, 4)
        if re.search(
            r"[a-z]",
            re.sub(
                r"\b(h|hr|hrs|hours?|std|stunden?|heures?|ore|ora|horas?|uur|uren)\b|\d+h\b",
                "",
                text,
            ),
        ):
            return None
    return read_number(cell)


def read_minutes(cell: Cell) -> float | None:
    """Read minutes: 45, 45 min, 1:30, 1.5 h."""
    if isinstance(cell, str):
        if parts := re.fullmatch(r"\s*(\d{1,3})\s*:\s*(\d{2})\s*h?\s*", cell.lower()):
            return int(parts[1]) * 60 + int(parts[2])
        if re.search(r"\d\s*(h|hrs?|hours?|std|stunden?|heures?|ore|horas?|uur)\b", cell.lower()):
            number = read_number(cell)
            return None if number is None else number * 60
    return read_number(cell)


def read_frequency(cell: Cell, header: str) -> float | None:
    """Read how often per week; a period in the cell comes before that of the header."""
    text = plain(cell) if isinstance(cell, str) else ""
    number = read_number(cell)
    span = re.findall(r"\d+(?:[.,]\d+)?", str(cell))
    if number is None and len(span) == 2:
        number = sum(float(n.replace(",", ".")) for n in span) / 2
    if number is None:
        number = next((times for times, words in TIMES.items() if re.search(words, text)), None)
        if number == EVERY_DAY:
            return number
    if number is None:
        return None
    for source in (text, plain(header)):
        for period, words in PERIODS.items():
            if set(words) & set(source.split()):
                return round(number / WEEKS[period], 4)
    return number


def read_size(cell: Cell, header: str) -> float | None:
    """Read a European size; None = another scale, or none."""
    words = set(plain(f"{header} {cell if isinstance(cell, str) else ''}").split())
    number = read_number(cell)
    if number is None or not 15 <= number <= 55:
        return None
    return None if words & {"uk", "us", "usa"} and not words & {"eu", "eur"} else number


def digits(value: float | None) -> str:
    """Write a number as the interchange files have it; None is empty."""
    if value is None:
        return ""
    return str(int(value)) if value == int(value) else repr(value)
