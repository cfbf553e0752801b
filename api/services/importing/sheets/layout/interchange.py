"""Interchange sheets: which sheets have the columns of our own files already?

Such a sheet passes as it is, cell by cell; the import of folders judges it.
"""

from __future__ import annotations

from datetime import date

from solespan.api.services.importing.sheets.cells.quantities import digits
from solespan.api.services.importing.sheets.sheet import Cell, Sheet
from solespan.forecast.columns import Table
from solespan.forecast.frames import TABLES

__all__ = ["rows_of", "table_of"]


def table_of(sheet: Sheet) -> Table | None:
    """Return the table whose columns a sheet has; None = it is another sheet."""
    if not sheet.rows:
        return None
    header = [cell for cell in sheet.rows[0] if cell is not None]
    names = {cell.strip() for cell in header if isinstance(cell, str)}
    if len(names) != len(header) or len(header) < 2:
        return None
    for table in TABLES.values():
        other = {c.iron_of: c.name for c in table.columns if c.iron_of}
        needed = [c.name for c in table.stored if c.required]
        if names <= set(table.by_name) and all({n, other.get(n, n)} & names for n in needed):
            return table
    return None


def rows_of(sheet: Sheet) -> list[tuple[int, dict[str, str]]]:
    """Return the rows that are not empty, with their lines, cells as text of our files."""
    header = [str(cell).strip() if cell is not None else "" for cell in sheet.rows[0]]
    return [
        (line, {name: _text(cell) for name, cell in zip(header, row, strict=True) if name})
        for row, line in zip(sheet.rows[1:], sheet.lines[1:], strict=True)
        if any(cell is not None for cell in row)
    ]


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return digits(cell)
    return cell.isoformat() if isinstance(cell, date) else cell
