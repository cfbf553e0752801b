"""Sheet reader: which rows of cells does a file of any usual kind hold?

A text file is one sheet; a workbook has one sheet for each of its visible pages. Cells stay as the
file has them. What they mean is a question for later steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from solespan.api.errors import BadUpload, TooLarge

__all__ = ["MAX_CELLS", "MAX_CELL_LENGTH", "MAX_COLUMNS", "Cell", "Sheet", "bad_file", "make_sheet"]

MAX_COLUMNS = 1000
MAX_CELLS = 500_000
MAX_CELL_LENGTH = 32_767  # what spreadsheets themselves hold in a cell

Cell = str | float | date | bool | None


@dataclass(frozen=True)
class Sheet:
    """One sheet: `rows` of cells, all of one width, and the `lines` of the file they stand on.

    A sheet on its side is `turned`: its rows are the columns of the file, its lines their numbers.
    """

    file: str
    name: str
    rows: tuple[tuple[Cell, ...], ...]
    lines: tuple[int, ...]
    turned: bool = False


def bad_file(file: str, what: str, remedy: str = "") -> BadUpload:
    """Say that a file as a whole cannot be read."""
    return BadUpload(
        what,
        where=file[:80],
        accepted="a sheet as CSV, XLSX or ODS, with one row for each thing",
        remedy=remedy or "Open it in a spreadsheet program and save it as XLSX or CSV.",
    )


def make_sheet(file: str, name: str, rows: Sequence[Sequence[Cell]], lines: Sequence[int]) -> Sheet:
    """Bring rows to one width and look at sizes. Raises `BadUpload`, `TooLarge`."""
    width = 0
    last = max((n for n, row in enumerate(rows, 1) if any(c is not None for c in row)), default=0)
    rows, lines = rows[:last], lines[:last]
    for row, line in zip(rows, lines, strict=True):
        used = next((n for n in range(len(row), 0, -1) if row[n - 1] not in (None, "")), 0)
        width = max(width, used)
        if used > MAX_COLUMNS:
            raise TooLarge(
                f"A row has {used:,} columns; at most {MAX_COLUMNS:,} are read.",
                where=f"{file[:80]}, line {line}",
                accepted=f"up to {MAX_COLUMNS:,} columns",
                remedy="Look whether this is the right file; split a very wide calendar by year.",
            )
        for cell in row:
            if isinstance(cell, str) and len(cell) > MAX_CELL_LENGTH:
                raise TooLarge(
                    f"A cell holds {len(cell):,} characters.",
                    where=f"{file[:80]}, line {line}",
                    accepted=f"up to {MAX_CELL_LENGTH:,} characters in a cell",
                    remedy="Shorten the cell, and look whether a quote is left open before it.",
                )
    if width * len(rows) > MAX_CELLS:
        raise TooLarge(
            f"The sheet has {width * len(rows):,} cells.",
            where=f"{file[:80]} {name}".strip(),
            accepted=f"up to {MAX_CELLS:,} cells",
            remedy="Split the sheet by year or by customer, and import the parts one by one.",
        )
    full = tuple((*row[:width], *(None,) * (width - len(row))) for row in rows)
    return Sheet(file, name, full, tuple(lines))
