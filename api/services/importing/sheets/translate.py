"""Translation service: which interchange tables do these sheets hold, under these answers?

A translation depends on sheets, answers, known names and the day alone. So a page or a command
keeps nothing but answers.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import date

from solespan.api.services.importing.sheets.assembly.assembly import Assembly
from solespan.api.services.importing.sheets.cells.dates import DateStyle
from solespan.api.services.importing.sheets.cells.words import plain
from solespan.api.services.importing.sheets.files.text_file import read_text_file
from solespan.api.services.importing.sheets.files.workbook import MAGICS, read_workbook
from solespan.api.services.importing.sheets.layout.blocks import find_blocks
from solespan.api.services.importing.sheets.layout.interchange import table_of
from solespan.api.services.importing.sheets.layout.lists import find_style, lay_out
from solespan.api.services.importing.sheets.layout.turning import turn, turn_fates
from solespan.api.services.importing.sheets.preview import preview_of
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.sheet import Sheet, bad_file
from solespan.api.services.importing.sheets.translation import KnownNames, Place, Translation

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
    asker = Asker(answers)
    assembly = Assembly(known, asker, today)
    others = []
    for sheet in sheets:
        table = table_of(sheet)
        if table is None:
            others.append(turn(sheet))
        else:
            assembly.take_table(sheet, table)
    labels = {plain(p.label) for p in assembly.book.pairs.values()}
    labels |= {plain(label) for label in known.pairs.values() if label}
    style = find_style(others, asker, today)
    layout = lay_out(others, style, asker, labels, today)
    for one in layout.lists:
        assembly.take_list(one)
    out = assembly.finish()
    out.columns = layout.columns
    out.questions = list(asker.questions.values())
    out.fates += layout.fates
    _turn_back(sheets, others, out)
    order = {(s.file, s.name): n for n, s in enumerate(sheets)}
    out.fates = sorted(
        out.fates,
        key=lambda fate: (order[fate.place.file, fate.place.sheet], fate.place.line),
    )
    out.preview = preview_of(out.tables)
    return out


def _turn_back(sheets: Sequence[Sheet], read: Sequence[Sheet], out: Translation) -> None:
    """Give the rows of sheets that were turned their fates; all came from their first line."""
    turned = {(sheet.file, sheet.name) for sheet in read if sheet.turned}
    for sheet in sheets:
        name = (sheet.file, sheet.name)
        if name in turned:
            own = [f for f in out.fates if (f.place.file, f.place.sheet) == name]
            out.fates = [f for f in out.fates if f not in own] + turn_fates(sheet, own)
            first = Place(sheet.file, sheet.name, sheet.lines[0])
            for places in out.origin.values():
                places[:] = [first if (p.file, p.sheet) == name else p for p in places]


def answers_for(sheets: Sequence[Sheet]) -> str:
    """Give the fingerprint of the sheets' headers: a mapping is kept under it."""
    names = [
        [sheet.name, *(plain(header) for header in block.headers)]
        for sheet in sheets
        for block in find_blocks(turn(sheet), DateStyle())[0]
    ]
    return hashlib.sha256(repr(names).encode()).hexdigest()[:32]
