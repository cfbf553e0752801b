"""Turning of sheets: does a sheet stand on its side, with names of columns down its first column?

Such a sheet is turned before it is read. Its rows are details of all pairs, so each row of the file
shares the fate of the pairs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from solespan.api.services.importing.sheets.cells.words import header_scores
from solespan.api.services.importing.sheets.sheet import Cell, Sheet
from solespan.api.services.importing.sheets.translation import (
    LEFT_OUT,
    REFUSED,
    TAKEN,
    Place,
    RowFate,
)

__all__ = ["turn", "turn_fates"]

NAMED = 0.9
LEAST = 3
UNTOLD = ("note", "ignore")  # targets whose names stand in cells as well
MOST_ROWS = 60


def _names(cells: Sequence[Cell]) -> int:
    told = {cell for cell in cells if isinstance(cell, str)}
    return sum(
        any(s >= NAMED and t not in UNTOLD for t, s in header_scores(cell, misspelt=False).items())
        for cell in told
    )


def turn(sheet: Sheet) -> Sheet:
    """Return a sheet with its names of columns in one row, turned where they stand in a column."""
    if not LEAST <= len(sheet.rows) <= MOST_ROWS or len(sheet.rows[0]) < 2:
        return sheet
    first = [row[0] for row in sheet.rows]
    down, filled = _names(first), sum(cell is not None for cell in first)
    across = max(_names(row) for row in sheet.rows[:10])
    if down < LEAST or across > 1 or down < 0.5 * filled:
        return sheet
    kept = [row for row in sheet.rows if row[0] is not None or any(c is not None for c in row[1:])]
    rows = [list(column) for column in zip(*kept, strict=True)]
    if rows[0][0] is None and any(cell is not None for row in rows[1:] for cell in row[:1]):
        rows[0][0] = "Name"
    lines = tuple(range(1, len(rows) + 1))
    return replace(sheet, rows=tuple(map(tuple, rows)), lines=lines, turned=True)


def turn_fates(sheet: Sheet, fates: Sequence[RowFate]) -> list[RowFate]:
    """Give each row of the file a fate, from the fates of the columns that were read as rows."""
    told = [fate for fate in fates if fate.fate != LEFT_OUT]
    refused = [fate for fate in told if fate.fate == REFUSED]
    why = "; ".join(f"column {fate.place.line}: {fate.why}" for fate in refused)
    fate = REFUSED if told and len(refused) == len(told) else TAKEN if told else LEFT_OUT
    problems = tuple(problem for one in refused for problem in one.problems)
    became = f"a detail of {len(told) - len(refused)} rows" if fate == TAKEN else ""
    out = []
    for row, line in zip(sheet.rows, sheet.lines, strict=True):
        place = Place(sheet.file, sheet.name, line)
        if all(cell is None for cell in row):
            out.append(RowFate(place, LEFT_OUT, "an empty row"))
        else:
            out.append(
                RowFate(place, fate, why or "nothing was understood" * (not told), became, problems)
            )
    return out
