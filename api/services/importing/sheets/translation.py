"""Translation of sheets: what came of each row, what is open, and what was assumed?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

__all__ = [
    "LEFT_OUT",
    "REFUSED",
    "TAKEN",
    "Assumption",
    "ColumnUse",
    "ConsentFound",
    "KnownNames",
    "Note",
    "Place",
    "Problem",
    "Question",
    "RowFate",
    "Translation",
]

TAKEN, LEFT_OUT, REFUSED = "taken", "left out", "refused"
Choice = tuple[str, str]


@dataclass(frozen=True, order=True)
class Place:
    """One row of one sheet; `line` counts from 1. `sheet` is empty for a text file."""

    file: str
    sheet: str
    line: int

    @property
    def words(self) -> str:
        """The place as a person reads it."""
        sheet = f", sheet {self.sheet}" if self.sheet else ""
        return f"{self.file}{sheet}, line {self.line}"


@dataclass(frozen=True)
class ColumnUse:
    """What a column is read as. `choices` holds (target, words); `target` is what holds now.

    `sure` tells whether the header or the cells say it plainly; a page can show the others first.
    """

    key: str
    file: str
    sheet: str
    header: str
    examples: tuple[str, ...]
    proposed: str
    target: str
    words: str
    sure: bool
    choices: tuple[Choice, ...]


@dataclass(frozen=True)
class Question:
    """What the sheets leave open. `choices` holds (answer, words); `answer` is what holds now."""

    key: str
    words: str
    choices: tuple[Choice, ...]
    proposed: str
    answer: str


@dataclass(frozen=True)
class Assumption:
    """A value that no sheet states: it got a default and waits for correction."""

    table: str
    id: str
    column: str
    value: str
    words: str


@dataclass(frozen=True)
class Problem:
    """One cell that cannot be read, or one thing that a row lacks."""

    column: str
    value: str
    why: str
    accepted: str = ""

    @property
    def words(self) -> str:
        """The problem as a person reads it."""
        cell = f"{self.column}: " if self.column else ""
        shown = f"{self.value!r}: " if self.value else ""
        accepted = f"; accepted: {self.accepted}" if self.accepted else ""
        return f"{cell}{shown}{self.why}{accepted}"


@dataclass(frozen=True)
class RowFate:
    """What came of one row: `taken`, `left out` or `refused`; all its problems at once."""

    place: Place
    fate: str
    why: str = ""
    became: str = ""
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class ConsentFound:
    """A consent that a sheet states plainly; `on` and `address` are empty where it does not."""

    wearer_id: str
    channel: str
    on: date | None
    how: str
    address: str
    place: Place


@dataclass(frozen=True)
class Note:
    """Free text about a wearer or a pair, on one line; it goes to the notes."""

    table: str
    id: str
    text: str
    place: Place


@dataclass(frozen=True)
class KnownNames:
    """What the database knows: names of wearers and pairs by id, the shop's time zone.

    A row of something known has the cells that a sheet states. Where it is silent, the caller
    keeps what is stored. `one_wearer` is the id of the wearer whose rack this is, where there is
    only one. `soles` gives the days on which the soles of each pair were fitted. A sheet adds no
    other sole on such a day.
    """

    wearers: Mapping[str, str] = field(default_factory=dict)
    pairs: Mapping[str, str] = field(default_factory=dict)
    shop_time_zone: str | None = None
    one_wearer: str | None = None
    soles: Mapping[str, frozenset[date]] = field(default_factory=dict)


@dataclass
class Translation:
    """The result: interchange tables as text, and an account of every row of every sheet.

    `origin` gives for each row of each table the place it came from, in the order of the rows.
    `preview` gives the first ten rows of each table in words. `notes_cut` counts pairs and wearers
    whose notes have no room for all the text.
    """

    tables: dict[str, pd.DataFrame] = field(default_factory=dict)
    origin: dict[str, list[Place]] = field(default_factory=dict)
    columns: list[ColumnUse] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    assumed: list[Assumption] = field(default_factory=list)
    fates: list[RowFate] = field(default_factory=list)
    consents: list[ConsentFound] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    notes_cut: int = 0
    preview: dict[str, list[str]] = field(default_factory=dict)
