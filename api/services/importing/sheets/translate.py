"""Translation service: which interchange tables do these sheets hold, under these answers?"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import date

from solespan.api.services.importing.sheets.sheet import Sheet, bad_file
from solespan.api.services.importing.sheets.text_file import read_text_file
from solespan.api.services.importing.sheets.translation import KnownNames, RowFate, Translation
from solespan.api.services.importing.sheets.translation import LEFT_OUT, Place
from solespan.api.services.importing.sheets.workbook import MAGICS, read_workbook

__all__ = ["answers_for", "read_sheets", "translate"]


def read_sheets(file: str, data: bytes) -> list[Sheet]:
    """Read one file: CSV of any kind, XLSX, XLS or ODS. Raises `BadUpload`, `TooLarge`."""
    if not data.strip():
        raise bad_file(file, "The file is empty.")
    if data.startswith(MAGICS):
        return read_workbook(file, data)
    return [read_text_file(file, data)]


def translate(
    sheets: Sequence[Sheet], answers: Mapping[str, str], known: KnownNames, today: date
) -> Translation:
    """Turn sheets into interchange tables, as the answers say and proposals where they do not."""
    out = Translation()
    for sheet in sheets:
        for line in sheet.lines:
            out.fates.append(RowFate(Place(sheet.file, sheet.name, line), LEFT_OUT, "to come"))
    return out


def answers_for(sheets: Sequence[Sheet]) -> str:
    """Give the fingerprint of the sheets' headers: a mapping is kept under it."""
    names = [[sheet.name, *map(str, sheet.rows[0])] for sheet in sheets if sheet.rows]
    return hashlib.sha256(repr(names).encode()).hexdigest()[:32]
