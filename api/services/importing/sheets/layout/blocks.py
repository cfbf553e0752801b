"""Blocks of a sheet: where do its tables begin and end, and which rows are their headers?

A block has one header of one or two lines. Titles, blank lines, repeated headers and totals belong
to no row of it; each gets its fate here. A heading over some rows becomes a column of its own.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from solespan.api.services.importing.sheets.cells.axis import text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle
from solespan.api.services.importing.sheets.cells.quantities import read_number
from solespan.api.services.importing.sheets.cells.words import plain, word_of
from solespan.api.services.importing.sheets.layout.headers import (
    SEARCHED_ROWS,
    Row,
    combine,
    filled_cells,
    header_follows,
    header_score,
    header_span,
    is_before_header,
    letters,
    may_begin,
)
from solespan.api.services.importing.sheets.sheet import Cell, Sheet
from solespan.api.services.importing.sheets.translation import LEFT_OUT, Place, RowFate

__all__ = ["HEADING", "Block", "drop_columns", "find_blocks"]

HEADING = "(heading above the rows)"
LINE = re.compile(r"[-=_:+ ]+")


@dataclass
class Block:
    """One table: `headers` as text, `heads` as the cells they came from, and rows with lines.

    A header of two lines has a line break between them. `fixed` holds the targets of columns that
    the form of the table tells, and `caption` the lines above the table.
    """

    file: str
    sheet: str
    number: int
    title: str
    headers: list[str]
    heads: list[Cell]
    rows: list[Row] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    fixed: dict[int, str] = field(default_factory=dict)
    caption: str = ""

    def place(self, line: int) -> Place:
        """Return the place of a line."""
        return Place(self.file, self.sheet, line)

    def column(self, at: int) -> list[Cell]:
        """Return the cells of one column."""
        return [row[at] for row in self.rows]


def find_blocks(sheet: Sheet, style: DateStyle) -> tuple[list[Block], list[RowFate]]:
    """Cut a sheet into blocks; return them, and the fates of the rows between."""
    rows = [tuple(None if text_of(cell) == "" else cell for cell in row) for row in sheet.rows]
    scores = [
        header_score(row, style) if n < SEARCHED_ROWS or may_begin(rows, n) else 0.0
        for n, row in enumerate(rows)
    ]
    fates: list[RowFate] = []
    blocks: list[Block] = []
    titles: list[str] = []
    at = 0
    while at < len(rows):
        row, line = rows[at], sheet.lines[at]
        place = Place(sheet.file, sheet.name, line)
        filled = filled_cells(row)
        span = header_span(rows, scores, at, style, first=not blocks) if filled else 0
        if not filled:
            fates.append(RowFate(place, LEFT_OUT, "an empty row"))
        elif span:
            fates += [
                RowFate(Place(sheet.file, sheet.name, sheet.lines[n]), LEFT_OUT, "a header row")
                for n in range(at, at + span)
            ]
            headers, heads = combine(rows[at : at + span])
            title = " ".join([*titles, sheet.name, sheet.file.rsplit(".", 1)[0]])
            if blocks and not titles and headers == blocks[-1].headers:
                at += span
                continue
            blocks.append(Block(sheet.file, sheet.name, len(blocks), title, headers, heads))
            blocks[-1].caption = " ".join(titles)
            titles = []
            at += span
            continue
        elif all(cell is None or LINE.fullmatch(text_of(cell)) for cell in row):
            fates.append(RowFate(place, LEFT_OUT, "a line between rows"))
        elif (not blocks and (filled == 1 or is_before_header(scores, at)) and len(row) > 1) or (
            blocks and filled == 1 and header_follows(rows, scores, at, style)
        ):
            titles.append(" ".join(text_of(cell) for cell in row if cell is not None))
            fates.append(RowFate(place, LEFT_OUT, "a title"))
        else:
            if not blocks:
                headers = [f"column {letters(n)}" for n in range(len(row))]
                title = " ".join([*titles, sheet.name, sheet.file.rsplit(".", 1)[0]])
                blocks.append(Block(sheet.file, sheet.name, 0, title, headers, [None] * len(row)))
                titles = []
            if _is_total(row, blocks[-1]):
                fates.append(RowFate(place, LEFT_OUT, "a row of totals"))
            else:
                blocks[-1].rows.append(row)
                blocks[-1].lines.append(line)
        at += 1
    for block in blocks:
        _drop_remarks(block, fates)
        _lift_headings(block, fates)
        drop_columns(block, [n for n, header in enumerate(block.headers) if not header])
    return [block for block in blocks if block.rows], fates


def _is_total(row: Row, block: Block) -> bool:
    if sum(isinstance(cell, str) and not re.search(r"\d", cell) for cell in row) > 1:
        return False
    told = [cell for cell in row if cell is not None]
    others = [cell for cell in told if read_number(cell) is None]
    if len(others) == 1 and isinstance(others[0], str):
        name = plain(others[0])
        return len(name.split()) <= 3 and any(
            word_of("total", text, near=False)[0] for text in (name, name.split(" ")[0])
        )
    if not block.rows or row[0] is not None:
        return False
    cells = [(n, cell) for n, cell in enumerate(row) if cell is not None]
    if not all(isinstance(cell, float) or read_number(cell) is not None for _, cell in cells):
        return False
    for n, cell in cells:
        above = [read_number(value) for value in block.column(n)]
        total = sum(value for value in above if value is not None)
        stated = read_number(cell) or 0.0
        if total and len(above) > 1 and abs(total - stated) <= 0.005 * abs(total):
            return True
    return False


def _drop_remarks(block: Block, fates: list[RowFate]) -> None:
    """Leave out the lines below a table that are no rows of it: a legend, a date of printing."""
    widths = [filled_cells(row) for row in block.rows]
    if len(block.headers) < 3 or sorted(widths)[len(widths) // 2 :] < [2]:
        return
    size = len(block.rows)
    while size > 1 and widths[size - 1] == 1:
        size -= 1
    for n in range(size, len(block.rows)):
        gap = block.lines[n] - block.lines[n - 1] > 1
        text = text_of(next(cell for cell in block.rows[n] if cell is not None))
        if gap or "=" in text:
            fates += [
                RowFate(block.place(line), LEFT_OUT, "a remark below the table")
                for line in block.lines[n:]
            ]
            del block.rows[n:], block.lines[n:]
            return


def _lift_headings(block: Block, fates: list[RowFate]) -> None:
    """Turn rows that only head the rows under them into a column."""
    widths = [filled_cells(row) for row in block.rows]
    if len(block.rows) < 3 or sorted(widths)[len(widths) // 2] < 3:
        return
    at_heads = [
        n
        for n, row in enumerate(block.rows)
        if widths[n] == 1
        and row[0] is not None
        and n + 1 < len(widths)
        and widths[n + 1] > 1
        and _is_heading(block, n)
    ]
    if not at_heads:
        return
    current: Cell = None
    rows, lines = [], []
    for n, (row, line) in enumerate(zip(block.rows, block.lines, strict=True)):
        if n in at_heads:
            current = row[0]
            fates.append(RowFate(block.place(line), LEFT_OUT, "a heading for the rows below"))
        else:
            rows.append((current, *row))
            lines.append(line)
    block.rows, block.lines = rows, lines
    block.headers, block.heads = [HEADING, *block.headers], [None, *block.heads]


def _is_heading(block: Block, at: int) -> bool:
    text = text_of(block.rows[at][0])
    gap = at > 0 and block.lines[at] - block.lines[at - 1] > 1
    capitals = text.isupper() and len(text) > 3
    year = text.isdigit() and 1950 <= int(text) <= 2100
    return gap or capitals or year or text.endswith(":")


def drop_columns(block: Block, doubtful: Sequence[int]) -> None:
    """Drop those of the doubtful columns that hold nothing; name the others by their letter."""
    gone = {n for n in doubtful if all(row[n] is None for row in block.rows)}
    kept = [n for n in range(len(block.headers)) if n not in gone]
    block.headers = [block.headers[n] or f"column {letters(n)}" for n in kept]
    block.heads = [block.heads[n] for n in kept]
    block.rows = [tuple(row[n] for n in kept) for row in block.rows]
