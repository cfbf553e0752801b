"""Workbook reader: which cells do the sheets of an XLSX, XLS or ODS file hold?

A small file can unpack to a huge one, and one far cell can span a million rows. So sizes are
counted on the packed parts, piece by piece, before anything is unpacked into memory.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from datetime import date, datetime, time, timedelta
from typing import Any

from python_calamine import CalamineError, CalamineSheet, CalamineWorkbook, SheetVisibleEnum

from solespan.api.errors import TooLarge
from solespan.api.services.importing.sheets.sheet import (
    Cell,
    Sheet,
    bad_file,
    make_sheet,
)

__all__ = ["MAGICS", "read_workbook"]

ZIP_MAGIC = b"PK\x03\x04"
OLE_MAGIC = b"\xd0\xcf\x11\xe0"
MAGICS = (ZIP_MAGIC, OLE_MAGIC)
MAX_SHEETS = 100
MAX_EXTENT = 2_000_000  # cells of a sheet, the empty ones between others too
MAX_UNPACKED_BYTES = 128 * 1024 * 1024
PIECE_BYTES = 1024 * 1024
LONGEST_TAG = 2000
_PLACE = re.compile(rb'\br="([A-Z]{1,3})([0-9]{1,7})"')
_TAG = re.compile(
    rb"<(table:table-row|table:table-cell|table:covered-table-cell|table:table)\b([^>]*)>"
)
_REPEAT = re.compile(rb'number-(?:rows|columns)-repeated="(\d{1,9})"')


def read_workbook(file: str, data: bytes) -> list[Sheet]:
    """Read every visible sheet. Raises `BadUpload`, `TooLarge`."""
    if data.startswith(ZIP_MAGIC):
        _check_sizes(file, data)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        shown = [m.name for m in book.sheets_metadata if m.visible == SheetVisibleEnum.Visible]
        if len(shown) > MAX_SHEETS:
            raise TooLarge(
                f"The workbook has {len(shown)} sheets.",
                where=file[:80],
                accepted=f"up to {MAX_SHEETS} sheets",
                remedy="Split the workbook.",
            )
        return [_read_sheet(file, book.get_sheet_by_name(name)) for name in shown]
    except (CalamineError, OSError, ValueError, BaseExceptionGroup) as cause:
        raise bad_file(file, f"The workbook cannot be read: {_first_line(cause)}") from None


def _first_line(cause: BaseException) -> str:
    return (str(cause).splitlines() or [""])[0][:200].rstrip(".") + "."


def _read_sheet(file: str, sheet: CalamineSheet) -> Sheet:
    rows = [[_cell(value) for value in row] for row in sheet.to_python(skip_empty_area=False)]
    for (top, left), (bottom, right) in sheet.merged_cell_ranges or []:
        if top == bottom or top >= len(rows) or left >= len(rows[top]):
            continue  # a heading across columns says nothing of the cells beside it
        for line in range(top, min(bottom + 1, len(rows))):
            for place in range(left, min(right + 1, len(rows[line]), left + 1)):
                rows[line][place] = rows[top][left]
    return make_sheet(file, sheet.name, rows, range(1, len(rows) + 1))


def _cell(value: Any) -> Cell:
    if isinstance(value, str):
        return value if value.strip() else None
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, timedelta):
        return value.total_seconds() / 3600
    if isinstance(value, time):
        return f"{value.hour}:{value.minute:02d}"
    if isinstance(value, bool | date):
        return value
    return float(value)


def _check_sizes(file: str, data: bytes) -> None:
    unpacked = 0
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for entry in archive.infolist():
                if entry.flag_bits & 1:
                    raise bad_file(file, "The workbook is locked by a password.")
                extent = _Extent()
                with archive.open(entry) as part:
                    while piece := part.read(PIECE_BYTES):
                        unpacked += len(piece)
                        if entry.filename.endswith(".xml"):
                            extent.add(piece)
                        if unpacked > MAX_UNPACKED_BYTES or extent.cells > MAX_EXTENT:
                            raise _too_large(file)
    # a part may have a broken or short stream, or a compression or version that is unknown here
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as cause:
        raise bad_file(file, "The workbook is damaged.") from cause


class _Extent:
    """The cells that a sheet spans, counted from pieces of its XML as they come."""

    def __init__(self) -> None:
        self._tail = b""
        self._rows = self._columns = 0  # what XLSX names
        self._row = self._repeat = self._column = 0  # where ODS is
        self._last_row = self._last_column = 0  # where ODS last had something

    @property
    def cells(self) -> int:
        """How many cells the largest rectangle has so far."""
        return max(self._rows * self._columns, self._last_row * self._last_column)

    def add(self, piece: bytes) -> None:
        """Count one more piece."""
        text = self._tail + piece
        end = text.rfind(b"<")
        self._tail = text[end:][:LONGEST_TAG] if end >= 0 else b""
        text = text[:end] if end >= 0 else text
        for letters, row in _PLACE.findall(text):
            column = 0
            for letter in letters:
                column = column * 26 + letter - 64
            self._rows, self._columns = max(self._rows, int(row)), max(self._columns, column)
        for tag, rest in _TAG.findall(text):
            self._step(tag, rest)

    def _step(self, tag: bytes, rest: bytes) -> None:
        found = _REPEAT.search(rest)
        times = int(found[1]) if found else 1
        if tag == b"table:table":
            self._row = self._repeat = 0
        elif tag == b"table:table-row":
            self._row += self._repeat
            self._repeat, self._column = times, 0
        else:
            self._column += times
            if not rest.endswith(b"/"):
                self._last_row = max(self._last_row, self._row + self._repeat)
                self._last_column = max(self._last_column, self._column)


def _too_large(file: str) -> TooLarge:
    return TooLarge(
        "The workbook is larger than this program takes once it is unpacked.",
        where=file[:80],
        accepted=f"up to {MAX_EXTENT:,} cells in a sheet",
        remedy="Delete the empty cells far below or beside the table, or split the workbook.",
    )
