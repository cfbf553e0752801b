"""Record: all that one row of a list says, before it becomes rows of the tables."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from solespan.api.services.importing.sheets.cells.dates import Day
from solespan.api.services.importing.sheets.translation import Place, Problem

__all__ = ["CheckRead", "ConsentRead", "Record"]


@dataclass(frozen=True)
class CheckRead:
    """One measured value or grade of a row; foot and point are empty where the row lacks them."""

    foot: str
    point: str
    method: str
    value_mm: float | None
    grade: str
    day: date | None


@dataclass(frozen=True)
class ConsentRead:
    """One cell of a consent column that says yes: by which way, and since when."""

    channel: str
    on: date | None
    how: str


@dataclass
class Record:
    """All that one row says. `values` holds single values by target.

    `remarks` are free text about the row itself, `notes` are lines that name what they tell.
    """

    place: Place
    values: dict[str, object] = field(default_factory=dict)
    days: dict[str, list[Day]] = field(default_factory=dict)
    checks: list[CheckRead] = field(default_factory=list)
    works: list[str] = field(default_factory=list)
    consents: list[ConsentRead] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    events: list[str] = field(default_factory=list)
    guesses: dict[str, str] = field(default_factory=dict)
    worn: bool | None = None
    unit: str = ""
    periods: list[tuple[date, date]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    soft: list[Problem] = field(default_factory=list)

    def text(self, target: str) -> str:
        """Return a value as text; empty = the row does not say."""
        value = self.values.get(target)
        return value if isinstance(value, str) else ""

    def number(self, target: str) -> float | None:
        """Return a value as a number; None = the row does not say."""
        value = self.values.get(target)
        return value if isinstance(value, float) else None

    def day(self, target: str) -> Day | None:
        """Return the first day of a target."""
        found = self.days.get(target)
        return found[0] if found else None
