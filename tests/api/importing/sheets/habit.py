"""Habit: one sheet as a person keeps it, and what must come of it.

All are invented. `counts` gives the rows of each table, `spots` some cells of single rows, and
`answers` the choices that a person must make; an empty mapping = none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from tests.api.importing.sheets.sheet_files import Merged, Rows

TODAY = date(2026, 11, 25)


@dataclass(frozen=True)
class Habit:
    """One sheet or workbook, and what must come of it."""

    name: str
    pages: Mapping[str, Rows]
    counts: Mapping[str, int]
    spots: Sequence[tuple[str, Mapping[str, str]]] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    refused: int = 0
    consents: int = 0
    merged: Mapping[str, Merged] = field(default_factory=dict)
