"""Workbook service: how do the tables of the log become one XLSX file, a sheet for each?

Days, numbers and flags keep their type. Text is text, never a formula, and carries the same
apostrophe as in CSV, so that a sheet saved as CSV can be imported.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, BinaryIO

import pandas as pd
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

from solespan.api.errors import TooLarge
from solespan.api.services.interchange.formulas import guard
from solespan.forecast.frames import Column, Table

__all__ = ["sheet_text", "write_workbook"]

MOST_ROWS = 1_048_576  # of a sheet, the header included (ECMA-376 and its common programs)
# What XML cannot hold, or would change, is written as _xHHHH_ (ECMA-376, ST_Xstring).
_ESCAPED = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")


def write_workbook(tables: Iterable[tuple[Table, pd.DataFrame]], stream: BinaryIO) -> None:
    """Write a sheet for each table. Raises `TooLarge` for more rows than a sheet has."""
    book = Workbook(write_only=True)
    for table, frame in tables:
        if len(frame) >= MOST_ROWS:
            raise TooLarge(
                f"{table.name} has {len(frame):,} rows; a sheet holds {MOST_ROWS - 1:,}.",
                where=table.name,
                remedy="Export as CSV or Parquet.",
            )
        sheet = book.create_sheet(table.name)
        sheet.freeze_panes = "A2"
        header = [WriteOnlyCell(sheet, column.name) for column in table.stored]
        for cell in header:
            cell.font = Font(bold=True)
        sheet.append(header)
        columns = [_values(frame[column.name], column) for column in table.stored]
        for row in zip(*columns, strict=True):
            sheet.append([_exact(sheet, value) for value in row])
    book.save(stream)


def sheet_text(text: str) -> str:
    """Return a text as a cell holds it: guarded, with what XML cannot hold escaped."""
    return _ESCAPED.sub(lambda found: f"_x{ord(found[0]):04X}_", guard(text))


def _exact(sheet: Any, value: Any) -> Any:
    """Write a number with all its digits where the 16 that the library writes are not enough."""
    if not isinstance(value, float) or float(f"{value:.16g}") == value:
        return value
    cell = WriteOnlyCell(sheet, repr(value))
    cell.data_type = "n"
    return cell


def _values(values: pd.Series[Any], column: Column) -> list[Any]:
    known = values.notna().tolist()
    if column.kind == "date":
        plain: list[Any] = pd.to_datetime(values).dt.date.tolist()
    elif column.kind in ("number", "integer"):
        plain = [int(v) if k and v == int(v) else v for v, k in zip(values, known, strict=True)]
    elif column.kind == "flag":
        plain = [bool(v) for v in values.tolist()]
    else:
        plain = [sheet_text(v) if k else None for v, k in zip(values, known, strict=True)]
    return [v if k else None for v, k in zip(plain, known, strict=True)]
