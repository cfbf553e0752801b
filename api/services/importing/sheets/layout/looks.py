"""Looks of columns: what are the cells of a column, and which targets do they suit?"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice

from solespan.api.services.importing.sheets.cells.axis import month_and_year_in, text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_days
from solespan.api.services.importing.sheets.cells.quantities import read_number, unit_in
from solespan.api.services.importing.sheets.cells.words import (
    TARGETS,
    header_scores,
    is_blank,
    plain,
    word_of,
)
from solespan.api.services.importing.sheets.layout.blocks import HEADING, Block
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = ["IGNORE", "TWO_VALUES", "WORDS_OF", "Look", "by_look", "look_at", "says_day", "suits"]

IGNORE = "ignore"
SAMPLE, WORD_SAMPLE, SAMPLED_CELLS = 300, 60, 20_000
LARGEST_THICKNESS = 48  # in irons
NUMBERS = ("count", "minutes", "money", "size")
WORDS_OF = {
    "soles.material": "material",
    "pairs.construction": "construction",
    "bench_jobs.work": "work",
    "checks.foot": "foot",
    "checks.point": "point",
    "checks.method": "method",
    "checks.grade": "grade",
    "wear_days.surface": "surface",
    "pairs.dress_code": "dress_code",
    "pairs.kind": "kind",
    "wearers.driving_foot": "driving_foot",
    "wearers.language": "language",
    "soles.cover": "cover",
    "soles.channel": "channel",
    "any.event": "event",
    "wear_days.wet": "yes_no",
    "bench_jobs.advised": "yes_no",
}
SEEN_IN_CELLS = ("soles.material", "pairs.construction", "bench_jobs.work", "any.event")
PLACES = ("checks.foot", "checks.point")
TWO_VALUES = re.compile(
    r"\s*\D{0,3}(\d{1,2}[.,]\d+)\s*(?:mm)?\s*[/|;-]\s*\D{0,3}(\d{1,2}[.,]\d+)\s*(?:mm)?\s*"
)


@dataclass(frozen=True)
class Look:
    """Shares of cells that are dates, numbers, addresses and so on; `cells` is a sample."""

    cells: tuple[Cell, ...]
    dates: float
    numbers: float
    mails: float
    phones: float
    flags: float

    @property
    def days(self) -> float:
        """Share of days among the cells that do not say `no`."""
        refusals = sum(word_of("yes_no", text_of(c), near=False)[0] == "no" for c in self.cells)
        return min(1.0, self.dates * len(self.cells) / max(1, len(self.cells) - refusals))

    @property
    def thicknesses(self) -> float:
        """Share of numbers that can be a thickness, in mm or in irons."""
        fitting = 0
        for cell in self.cells:
            value = read_number(cell)
            fitting += bool(TWO_VALUES.fullmatch(text_of(cell)))
            fitting += value is not None and value <= LARGEST_THICKNESS
        return min(self.numbers, fitting / max(1, len(self.cells)))

    @property
    def units(self) -> float:
        """Share of names of units."""
        told = [text_of(cell) for cell in self.cells]
        return sum(bool(unit_in(t)) or plain(t) == "in" for t in told) / max(1, len(told))

    @property
    def names(self) -> float:
        """Share of cells with a word beside a number, as `Pair 12`; a unit is no such word."""
        told = [text_of(cell) for cell in self.cells]
        named = (re.search(r"[^\W\d_]{2}", t) and not unit_in(t) for t in told)
        return (1 - self.dates) * sum(map(bool, named)) / max(1, len(told))

    def words(self, column: str) -> float:
        """Return the share of cells that are words of a column."""
        if not self.cells:
            return 0.0
        told = self.cells[:WORD_SAMPLE]
        hits = sum(bool(word_of(column, text_of(cell), misspelt=False)[0]) for cell in told)
        return hits / len(told)


def says_day(header: str) -> bool:
    """Whether a header says that its cells are days."""
    scores = header_scores(header)
    return any(s >= 0.6 and TARGETS[t].kind in ("date", "dates") for t, s in scores.items())


def look_at(block: Block, at: int, style: DateStyle) -> Look:
    """Look at the first cells of a column that say something; fewer where there are many columns.

    Without a word for days in the header, 4.5 is a number and no day of May.
    """
    style = style if says_day(block.headers[at]) else replace(style, year=None)
    most = min(SAMPLE, max(WORD_SAMPLE, SAMPLED_CELLS // len(block.headers)))
    told = tuple(islice((c for c in block.column(at) if not is_blank(text_of(c))), most))
    size = max(1, len(told))
    days = [read_days(cell, style) is not None for cell in told]
    return Look(
        told,
        sum(days) / size,
        sum(_is_number(c, d) for c, d in zip(told, days, strict=True)) / size,
        sum("@" in text_of(cell) for cell in told) / size,
        sum(bool(re.fullmatch(r"[+\d][\d\s()/.-]{6,}", text_of(c))) for c in told) / size,
        sum(bool(word_of("yes_no", text_of(c), near=False)[0]) for c in told) / size,
    )


def _is_number(cell: Cell, is_day: bool) -> bool:
    if isinstance(cell, str) and TWO_VALUES.fullmatch(cell):
        return True
    if isinstance(cell, str) and re.search(r"\d[./-]\d+[./-]\d", cell):
        return False
    if isinstance(cell, str) and unit_in(cell):
        return read_number(cell) is not None
    plainly = isinstance(cell, float) or len(re.sub(r"[^\W\d_]", "", text_of(cell))) >= 0.4 * len(
        text_of(cell)
    )
    return read_number(cell) is not None and plainly and not (is_day and isinstance(cell, date))


def suits(target: str, look: Look) -> float:
    """Return how well the cells suit a target, 0 to 1."""
    if not look.cells:
        return 1.0
    kind = TARGETS[target].kind
    text = 1.0 - max(look.dates, look.numbers)
    if kind in ("word", "work", "event", "language"):
        floor = 0.5 if target in SEEN_IN_CELLS else 0.1
        return max(floor * text, look.words(WORDS_OF[target]))
    if kind in NUMBERS:
        return look.numbers if look.dates < 0.5 or look.numbers > 0.9 else 0.0
    by_kind = {
        "date": look.days,
        "dates": look.days,
        "frequency": max(look.numbers, 0.6 * (look.dates < 0.3)),
        "hours": max(look.numbers, 0.6 * (look.dates < 0.3)),
        "thickness": look.thicknesses,
        "email": look.mails,
        "phone": max(look.phones, look.numbers, 0.3),
        "flag": max(look.flags, 0.4),
        "consent": max(look.flags, look.dates, look.words("consent_channel"), 0.3),
        "unit": look.units,
        "currency": text,
        "label": max(0.15, text, look.names),
        "name": max(0.15, text),
    }
    return by_kind.get(kind, 1.0)


def by_look(block: Block, at: int, look: Look) -> dict[str, float]:
    """Propose targets for a column whose header says nothing."""
    if not look.cells:
        return {}
    counted = [read_number(cell) for cell in look.cells]
    if len(plain(block.headers[at])) < 4 and counted == list(range(1, len(counted) + 1)):
        return {IGNORE: 0.6}
    if look.mails > 0.7:
        return {"wearers.email": 0.6}
    if look.dates > 0.8 and look.numbers < 0.9:
        return {"any.date": 0.5}
    if block.headers[at] == HEADING and any(
        month_and_year_in(text_of(c)) != (None, None) for c in look.cells
    ):
        return {IGNORE: 0.6}
    out = {t: 0.55 for t in SEEN_IN_CELLS if look.words(WORDS_OF[t]) > 0.7}
    out |= {t: 0.5 for t in PLACES if look.words(WORDS_OF[t]) == 1.0 and len(look.cells) > 1}
    text = 1.0 - max(look.dates, look.numbers, look.mails, look.phones, look.flags)
    lengths = sorted(len(text_of(cell)) for cell in look.cells)
    if text > 0.8 and 2 < lengths[len(lengths) // 2] <= 40:
        out["wearers.name" if block.headers[at] == HEADING else "pairs.label"] = 0.47 - 0.001 * at
    return out
