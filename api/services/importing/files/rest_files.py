"""Rest files service: which rows of a person's sheets were not taken, as a file to correct?

The file has the heading of the sheet, the cells of each row that was refused, and why. Handed in
again it is read like the sheet itself; the column with the reasons is dropped.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

from solespan.api.services.importing.sheets.sheet import Cell, Sheet
from solespan.api.services.importing.sheets.translation import LEFT_OUT, REFUSED, RowFate
from solespan.api.services.interchange.formulas import guard

__all__ = ["WHY", "without_reasons", "write_rest"]

WHY = "Why it was not taken"
HEADING_ROWS = 50


def without_reasons(sheet: Sheet) -> Sheet:
    """Drop the column that a file of this kind has more than its sheet."""
    for row in sheet.rows[:HEADING_ROWS]:
        if row and row[-1] == WHY:
            return Sheet(sheet.file, sheet.name, tuple(r[:-1] for r in sheet.rows), sheet.lines)
    return sheet


def write_rest(
    sheets: Sequence[Sheet], fates: Sequence[RowFate], folder: Path
) -> list[Mapping[str, object]]:
    """Write a file for each sheet with refused rows; return `name`, `path` and `rows` of each."""
    of = {(fate.place.file, fate.place.sheet, fate.place.line): fate for fate in fates}
    written: list[Mapping[str, object]] = []
    for sheet in sheets:
        placed = [
            (row, of.get((sheet.file, sheet.name, line)))
            for row, line in zip(sheet.rows, sheet.lines, strict=True)
        ]
        refused = [(row, fate) for row, fate in placed if fate and fate.fate == REFUSED]
        if not refused:
            continue
        path = folder / f"rest-{len(written)}.csv"
        with path.open("w", encoding="utf-8-sig", newline="") as stream:
            out = csv.writer(stream)
            heading = _heading(placed)
            for number, row in enumerate(heading, start=1):
                out.writerow([*map(_text, row), WHY if number == len(heading) else ""])
            for row, fate in refused:
                out.writerow([*map(_text, row), guard(_why(fate))])
        stem = Path(sheet.file).stem + (f" {sheet.name}" if sheet.name else "")
        written.append({"name": f"{stem} to correct.csv", "path": path.name, "rows": len(refused)})
    return written


def _heading(placed: Sequence[tuple[Sequence[Cell], RowFate | None]]) -> list[Sequence[Cell]]:
    """Return the rows before the first that says anything, of which the last is the heading."""
    heading: list[Sequence[Cell]] = []
    for row, fate in placed[:HEADING_ROWS]:
        if fate is not None and fate.fate != LEFT_OUT:
            break
        if any(row):
            heading.append(row)
    return heading


def _why(fate: RowFate) -> str:
    return "; ".join(problem.words for problem in fate.problems) or fate.why


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell == int(cell) else repr(cell)
    if isinstance(cell, date):
        return cell.isoformat()
    return guard(cell)
