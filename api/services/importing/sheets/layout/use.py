"""Use of a column: as which target is it read, and what else does its header say?"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from solespan.api.services.importing.sheets.cells.axis import axis_of, is_year, month_and_year_in
from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_day
from solespan.api.services.importing.sheets.cells.quantities import unit_in
from solespan.api.services.importing.sheets.cells.words import plain, word_of
from solespan.api.services.importing.sheets.layout.blocks import Block

__all__ = ["LEAST", "NOTE", "PERSONAL", "Use", "day_in", "is_described", "make_use", "period_of"]

NOTE = "note"
LEAST = 0.45  # score below which nothing is proposed
PERSONAL = {"wearers.email", "wearers.telephone", "wearers.first_name", "wearers.last_name"}
PERSONAL |= {"consents.any", "consents.mail", "consents.print_list", "wearers.language"}
_DATES_IN_HEADER = (
    re.compile(r"\d{4}-\d{2}(-\d{2})?"),
    re.compile(r"\d{1,2}[./]\d{1,2}[./]\d{2,4}|\d{1,2}[./]\d{4}"),
    re.compile(r"[A-Za-zÀ-ÿ]{3,9}\.?\s+\d{4}"),
)


@dataclass(frozen=True)
class Use:
    """What one column is read as; `facets` holds foot, point, day and unit of its header."""

    at: int
    header: str
    target: str
    sure: bool
    facets: Mapping[str, str] = field(default_factory=dict)
    day: date | None = None
    period: tuple[date, date] | None = None

    @property
    def name(self) -> str:
        """The header on one line."""
        return self.header.replace("\n", " ")


def make_use(block: Block, at: int, target: str, style: DateStyle, *, sure: bool) -> Use:
    """Make the use of a column, with what its header says of feet, points, units and days."""
    header = block.headers[at]
    tokens = plain(header).split()
    facets = {}
    for name in ("foot", "point", "method"):
        found = [w for t in tokens if (w := word_of(name, t, near=False)[0])]
        if found:
            facets[name] = "both" if len(set(found)) > 1 and name == "foot" else found[0]
    unit = unit_in(header)
    if unit:
        facets["unit"] = unit
    day = None
    if target.startswith("checks."):
        day = day_in(header, style)
    if day is None and target.startswith("checks.") and isinstance(block.heads[at], date):
        day = block.heads[at]  # type: ignore[assignment]
    return Use(at, header, target, sure, facets, day, period_of(block, header))


def period_of(block: Block, header: str) -> tuple[date, date] | None:
    """Return the first and the last day of a year or a month that a header names alone."""
    lines = header.split("\n")
    year = next((int(line) for line in lines if is_year(line)), None)
    if year and len(lines) == 1:
        return date(year, 1, 1), date(year, 12, 31)
    axis = axis_of(lines[-1], DateStyle())
    if axis is None or axis.kind != "month":
        return None
    year = axis.day.year if axis.day else year or month_and_year_in(block.title)[1]
    if year is None:
        return None
    return date(year, axis.value, 1), date(year, axis.value, monthrange(year, axis.value)[1])


def day_in(header: str, style: DateStyle) -> date | None:
    """Return the day that a header names beside other words."""
    for pattern in _DATES_IN_HEADER:
        for found in pattern.finditer(header):
            day = read_day(found[0], style)
            if day is not None:
                return day.day
    return None


def is_described(targets: set[str]) -> bool:
    """Whether a block describes pairs, so that a name it gives is a pair of its own."""
    tables = {target.partition(".")[0] for target in targets}
    own = {t for t in targets if t.startswith("pairs.")} - {"pairs.label", "pairs.pair_id"}
    events = {"wear_days", "checks", "bench_jobs"} & tables or "any.event" in targets
    return bool(own or "soles" in tables) and not (events and not own)
