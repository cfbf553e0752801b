"""Blocks of a sheet: where do its tables begin and end, and which rows are their headers?

A block has one header of one or two lines. Titles, blank lines, repeated headers and totals belong
to no row of it; each gets its fate here. A heading over some rows becomes a column of its own.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise

from solespan.api.services.importing.sheets.cells.axis import axis_of, is_year, text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_days
from solespan.api.services.importing.sheets.cells.quantities import read_number
from solespan.api.services.importing.sheets.cells.words import header_scores, plain, word_of
from solespan.api.services.importing.sheets.sheet import Cell, Sheet
from solespan.api.services.importing.sheets.translation import LEFT_OUT, Place, RowFate

__all__ = ["HEADING", "Block", "drop_columns", "find_blocks"]

HEADING = "(heading above the rows)"
SEARCHED_ROWS = 40
ENOUGH = 1.2
MARKS = {"x", "X", "\u2713", "\u2714"}
LINE = re.compile(r"[-=_:+ ]+")
REPEATED = 0.1
YEAR = 0.6
_DATED_TEXT = re.compile(r"\s*\d{1,4}[./-]\d{1,2}[./-]\d{0,4}\S*\s+\S")  # a line of a diary
Row = tuple[Cell, ...]


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
        _header_score(row, style) if n < SEARCHED_ROWS or _may_begin(rows, n) else 0.0
        for n, row in enumerate(rows)
    ]
    fates: list[RowFate] = []
    blocks: list[Block] = []
    titles: list[str] = []
    at = 0
    while at < len(rows):
        row, line = rows[at], sheet.lines[at]
        place = Place(sheet.file, sheet.name, line)
        filled = _filled(row)
        span = _header_span(rows, scores, at, style, first=not blocks) if filled else 0
        if not filled:
            fates.append(RowFate(place, LEFT_OUT, "an empty row"))
        elif span:
            fates += [
                RowFate(Place(sheet.file, sheet.name, sheet.lines[n]), LEFT_OUT, "a header row")
                for n in range(at, at + span)
            ]
            headers, heads = _combine(rows[at : at + span])
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
        elif (not blocks and (filled == 1 or _is_before_header(scores, at)) and len(row) > 1) or (
            blocks and filled == 1 and _header_follows(rows, scores, at, style)
        ):
            titles.append(" ".join(text_of(cell) for cell in row if cell is not None))
            fates.append(RowFate(place, LEFT_OUT, "a title"))
        else:
            if not blocks:
                headers = [f"column {_letters(n)}" for n in range(len(row))]
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


def _may_begin(rows: list[Row], at: int) -> bool:
    """Whether a header can stand here: after a gap or a title, or as a repeat."""
    above = rows[at - 2 : at]
    return any(_filled(row) <= 1 for row in above) or rows[at] in rows[:SEARCHED_ROWS]


def _letters(at: int) -> str:
    out = ""
    at += 1
    while at:
        at, rest = divmod(at - 1, 26)
        out = chr(65 + rest) + out
    return out


def _filled(row: Row) -> int:
    return len(row) - row.count(None)


def _cell_score(cell: Cell) -> float:
    """Score how much a cell looks like the name of a column."""
    if not isinstance(cell, str) or len(cell) > 80:
        return 0.0
    if read_number(cell) is not None and len(plain(cell)) < 4:
        return 0.0
    if _DATED_TEXT.match(cell):
        return 0.0
    best = max(header_scores(cell, misspelt=False).values(), default=0.0)
    tokens = plain(cell).split()[:4]
    facet = any(word_of(c, t, near=False)[0] for t in tokens for c in ("foot", "point"))
    return max(best, 0.8 if facet else 0.0)


def _header_score(row: Row, style: DateStyle) -> float:
    if _filled(row) == 0:
        return 0.0
    if len(row) == 1:
        return _cell_score(row[0]) if _cell_score(row[0]) > 0.9 else 0.0
    cells = [cell for cell in row if isinstance(cell, str)]
    named = sum(_cell_score(cell) for cell in set(cells))
    named += REPEATED * (len(cells) - len(set(cells)))
    named += YEAR * sum(is_year(cell) for cell in row) * (named > 0)
    data = sum(
        (isinstance(cell, float | bool) and not is_year(cell))
        or (isinstance(cell, str) and "@" in cell)
        for cell in row
    )
    told = sum(isinstance(cell, str) and bool(_DATED_TEXT.match(cell)) for cell in row)
    return named - 0.5 * data - told if not _axes(row, style) else named + 2.0


def _axes(row: Row, style: DateStyle) -> bool:
    """Whether a row is a line of days, weekdays or months."""
    axes = [axis for cell in row if (axis := axis_of(cell, style)) is not None]
    kinds: dict[str, list[int]] = {}
    for axis in axes:
        kinds.setdefault(axis.kind, []).append(axis.day.toordinal() if axis.day else axis.value)
    for kind, values in kinds.items():
        least = {"day": 7, "weekday": 5, "month": 4}.get(kind, 3)
        rising = all(a < b for a, b in pairwise(values))
        if (
            len(values) >= least
            and len(axes) >= 0.5 * _filled(row)
            and (rising or kind not in ("day", "short"))
        ):
            return True
    return False


def _header_span(
    rows: list[Row], scores: list[float], at: int, style: DateStyle, *, first: bool
) -> int:
    """Return how many lines of header begin here, 0 = none."""
    if first:
        best = max(scores[:SEARCHED_ROWS], default=0.0)
        least = max(0.6 if len(rows[at]) < 3 else ENOUGH, 0.6 * best)
        here = scores[at] >= least or (best < ENOUGH and _heads_data(rows, at, style))
    else:
        share = scores[at] / max(1, _filled(rows[at]))
        here = scores[at] >= ENOUGH and share >= 0.6 and _filled(rows[at]) >= 2
        here = here and not any(
            _is_data(cell, style) for cell in rows[at] if not _axes(rows[at], style)
        )
    if here:
        below = at + 1
        if below < len(rows) and _is_second_line(rows[at], rows[below], scores[below], style):
            return 2
        return 1
    below = at + 1
    if below < len(rows) and _filled(rows[at]) >= 2 and _filled(rows[at]) < _filled(rows[below]):
        texts = all(isinstance(c, str) for c in rows[at] if c is not None)
        if texts and not _has_data(rows[at], style):
            named = scores[below] >= max(ENOUGH, 0.6 * max(scores[:SEARCHED_ROWS]))
            return 2 if first and named else 0
    return 0


def _heads_data(rows: list[Row], at: int, style: DateStyle) -> bool:
    """Whether a row of plain texts stands over rows with days, numbers or marks."""
    row = rows[at]
    texts = [cell for cell in row if isinstance(cell, str)]
    if len(texts) < 2 or len(texts) < _filled(row) or len(set(texts)) < len(texts):
        return False
    if any(read_number(cell) is not None or _is_data(cell, style) for cell in texts):
        return False
    below = [other for other in rows[at + 1 : at + 6] if _filled(other) > 1]
    told = sum(
        any(_is_data(c, style) or read_number(c) is not None or text_of(c) in MARKS for c in other)
        for other in below
    )
    return len(below) > 0 and told == len(below)


def _is_data(cell: Cell, style: DateStyle) -> bool:
    if cell is None:
        return False
    return not isinstance(cell, str) or "@" in cell or read_days(cell, style) is not None


def _has_data(row: Row, style: DateStyle) -> bool:
    return any(_is_data(cell, style) for cell in row)


def _is_second_line(upper: Row, lower: Row, score: float, style: DateStyle) -> bool:
    """Whether the row under a header belongs to it: units, feet and points, weekdays, or names."""
    cells = [cell for cell in lower if cell is not None]
    if not cells:
        return False
    if not any(is_year(cell) for cell in upper) and (_axes(upper, style) or _axes(lower, style)):
        above = {a.kind for c in upper if (a := axis_of(c, style)) is not None}
        axes = [axis_of(c, style) for c in cells]
        wanted = {"weekday"} if "day" in above or "date" in above else {"day", "date", "short"}
        share = sum(a is not None and a.kind in wanted for a in axes) / len(cells)
        return share > 0.6 and len(cells) >= 5
    below = [axis_of(c, style) for c in cells]
    months = sum(a is not None and a.kind == "month" for a in below)
    if months >= 4 and any(is_year(cell) for cell in upper):
        return True
    if not all(isinstance(cell, str) for cell in cells) or _has_data(lower, style):
        return False
    units = sum(_is_unit(str(cell)) for cell in cells)
    facets = sum(
        bool(word_of("foot", str(c), near=False)[0] or word_of("point", str(c), near=False)[0])
        for c in cells
    )
    gaps = sum(u is None and w is not None for u, w in zip(upper, lower, strict=True))
    named = sum(_cell_score(cell) for cell in cells)
    if units + facets >= 0.6 * len(cells) and units + facets >= 1:
        return units > 0 or gaps > 0 or facets >= 2
    return gaps >= 1 and named >= 0.6 * len(cells) and score >= 0.6


def _is_unit(text: str) -> bool:
    return plain(text) in {
        "mm", "iron", "irons", "in", "inch", "cm", "eur", "usd", "gbp", "chf", "h", "hours", "min",
        "eu", "uk", "x", "dd mm yyyy", "yyyy mm dd", "mm dd yyyy", "tt mm jjjj", "jj mm aaaa",
        "gg mm aaaa", "std", "stunden", "1 48 in", "oz",
    } or text.strip(" ()[]") in ("€", "£", "$")  # fmt: skip


def _combine(rows: list[Row]) -> tuple[list[str], list[Cell]]:
    """Put the lines of a header together; a group's name stands for the columns under it."""
    if len(rows) == 1:
        return [text_of(cell) for cell in rows[0]], list(rows[0])
    upper, lower = rows
    headers: list[str] = []
    heads: list[Cell] = []
    group = ""
    for top, below in zip(upper, lower, strict=True):
        above = text_of(top)
        if above or below is None:
            group = above
        texts = [t for t in (above or group, text_of(below)) if t]
        headers.append("\n".join(dict.fromkeys(texts)))
        dated = isinstance(top, date | float) or below is None
        heads.append(top if dated else below if not texts or top is None else " ".join(texts))
    axes = [axis_of(c, DateStyle()) for c in upper]
    kinds = [a.kind for a in axes if a is not None]
    if kinds.count("day") + kinds.count("date") + kinds.count("short") > 3:
        heads = [top if top is not None else below for top, below in zip(upper, lower, strict=True)]
    else:
        axes = [axis_of(c, DateStyle()) for c in lower]
        if sum(a is not None and a.kind in ("day", "date") for a in axes) > 3:
            heads = [
                below if below is not None else top for top, below in zip(upper, lower, strict=True)
            ]
    return headers, heads


def _is_before_header(scores: list[float], at: int) -> bool:
    window = scores[:SEARCHED_ROWS]
    best = max(window, default=0.0)
    return best >= ENOUGH and window.index(best) > at


def _header_follows(rows: list[Row], scores: list[float], at: int, style: DateStyle) -> bool:
    for below in range(at + 1, min(at + 4, len(rows))):
        if _filled(rows[below]) > 1:
            return bool(_header_span(rows, scores, below, style, first=False))
    return False


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
    widths = [_filled(row) for row in block.rows]
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
    widths = [_filled(row) for row in block.rows]
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
    block.headers = [block.headers[n] or f"column {_letters(n)}" for n in kept]
    block.heads = [block.heads[n] for n in kept]
    block.rows = [tuple(row[n] for n in kept) for row in block.rows]
