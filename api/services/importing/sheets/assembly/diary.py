"""Diary reader: which pair does a line of free text name, and what does it say of it?"""

from __future__ import annotations

import re
from collections.abc import Collection

from solespan.api.services.importing.sheets.assembly.record import CheckRead, Record
from solespan.api.services.importing.sheets.cells.quantities import read_number
from solespan.api.services.importing.sheets.cells.words import plain, values_of, word_of

__all__ = ["read_diary"]

_FOOT_VALUE = re.compile(
    r"\b([^\W\d_]+)\.?\s*[:=]?\s*(\d{1,2}[.,]\d+|\d{1,2})\s*(?:mm)?", re.IGNORECASE
)
_HOURS = re.compile(
    r"\b(\d{1,2}(?:[.,]\d)?)\s*(?:h|hrs?|hours?|std|stunden|heures|ore|horas|uur)\b", re.IGNORECASE
)


def read_diary(record: Record, labels: Collection[str]) -> str:
    """Read a text of a diary; return the name of its pair, and add what else it says."""
    text = " ".join(record.events)
    _read_values(record, text)
    words = plain(text)
    if set(words.split()) & set(values_of("wet")):
        record.values.setdefault("wear_days.wet", "true")
    hours = _HOURS.search(text)
    if hours:
        record.values.setdefault("wear_days.hours", float(hours[1].replace(",", ".")))
    within = [label for label in labels if plain(label) and f" {plain(label)} " in f" {words} "]
    if within:
        return max(within, key=len)
    return _rest(text)


def _read_values(record: Record, text: str) -> None:
    for name, number in _FOOT_VALUE.findall(text):
        foot, _ = word_of("foot", name, near=False)
        value = read_number(number)
        if foot in ("left", "right") and value is not None:
            record.checks.append(CheckRead(foot, "", "", value, "", None))


def _rest(text: str) -> str:
    """Return what remains of a text without words of events, numbers and fillers."""
    text = _HOURS.sub(
        " ", _FOOT_VALUE.sub(lambda m: " " if word_of("foot", m[1], near=False)[0] else m[0], text)
    )
    phrases = sorted(values_of("event"), key=len, reverse=True)
    for phrase in phrases:
        text = re.sub(rf"(?i)\b{re.escape(phrase)}\b", " ", text)
    known = {*phrases, *values_of("filler_text"), *values_of("wet")}
    words = re.findall(r"[^\W_][\w'\u2019-]*", text)
    kept = [word for word in words if plain(word) not in known and not word.isdigit()]
    return " ".join(kept[:6])
