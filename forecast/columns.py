"""Columns and tables of the contract: what does a column accept, and what identifies a row?"""

from __future__ import annotations

from dataclasses import dataclass, field

__all__ = ["Column", "Table"]


@dataclass(frozen=True)
class Column:
    """One column: its name, kind, unit, and what it accepts.

    kind is one of `id`, `text`, `word`, `date`, `number`, `integer`, `flag`. `words` lists what a
    `word` accepts; `low` and `high` bound a number (inclusive). `iron_of` marks a column that only
    files have: the same quantity as the column it names, in irons.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""
    required: bool = False
    words: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    default: object = None
    iron_of: str = ""


@dataclass(frozen=True)
class Table:
    """One table: its columns in file order, and the columns that identify a row."""

    name: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    must_exist: bool = False
    by_name: dict[str, Column] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index the columns by name."""
        object.__setattr__(self, "by_name", {c.name: c for c in self.columns})

    @property
    def stored(self) -> tuple[Column, ...]:
        """The columns a frame or a database row has: all but those in irons."""
        return tuple(c for c in self.columns if not c.iron_of)
