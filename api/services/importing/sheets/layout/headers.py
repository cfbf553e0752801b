"""Headers of a table: which rows of a sheet name the columns below them, and what do they say?

A row is scored by the words that it has in common with known columns, and by what stands below it.
"""

from __future__ import annotations

import re
from datetime import date
from itertools import pairwise

from solespan.api.services.importing.sheets.cells.axis import axis_of, is_year, text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_days
from solespan.api.services.importing.sheets.cells.quantities import read_number
from solespan.api.services.importing.sheets.cells.words import header_scores, plain, word_of
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = [
    "SEARCHED_ROWS",
    "Row",
    "combine",
    "filled_cells",
    "header_follows",
    "header_score",
    "header_span",
    "is_before_header",
    "letters",
    "may_begin",
]

SEARCHED_ROWS = 40
ENOUGH = 1.2
MARKS = {"x", "X", "\u2713", "\u2714"}
REPEATED = 0.1
YEAR = 0.6
_DATED_TEXT = re.compile(r"\s*\d{1,4}[./-]\d{1,2}[./-]\d{0,4}\S*\s+\S")  # a line of a diary
Row = tuple[Cell, ...]


def may_begin(rows: list[Row], at: int) -> bool:
    """Whether a header can stand here: after a gap or a title, or as a repeat."""
    above = rows[at - 2 : at]
    return any(filled_cells(row) <= 1 for row in above) or rows[at] in rows[:SEARCHED_ROWS]


def letters(at: int) -> str:
    """Return the letters of a column by its place: A, B, ... Z, AA."""
    out = ""
    at += 1
    while at:
        at, rest = divmod(at - 1, 26)
        out = chr(65 + rest) + out
    return out


def filled_cells(row: Row) -> int:
    """Count the cells of a row that hold something."""
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


def header_score(row: Row, style: DateStyle) -> float:
    """Score a row as a header: about the number of its cells that name a known column."""
    if filled_cells(row) == 0:
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
            and len(axes) >= 0.5 * filled_cells(row)
            and (rising or kind not in ("day", "short"))
        ):
            return True
    return False


def header_span(
    rows: list[Row], scores: list[float], at: int, style: DateStyle, *, first: bool
) -> int:
    """Return how many lines of header begin here, 0 = none."""
    if first:
        best = max(scores[:SEARCHED_ROWS], default=0.0)
        least = max(0.6 if len(rows[at]) < 3 else ENOUGH, 0.6 * best)
        here = scores[at] >= least or (best < ENOUGH and _heads_data(rows, at, style))
    else:
        share = scores[at] / max(1, filled_cells(rows[at]))
        here = scores[at] >= ENOUGH and share >= 0.6 and filled_cells(rows[at]) >= 2
        here = here and not any(
            _is_data(cell, style) for cell in rows[at] if not _axes(rows[at], style)
        )
    if here:
        below = at + 1
        if below < len(rows) and _is_second_line(rows[at], rows[below], scores[below], style):
            return 2
        return 1
    below = at + 1
    if (
        below < len(rows)
        and filled_cells(rows[at]) >= 2
        and filled_cells(rows[at]) < filled_cells(rows[below])
    ):
        texts = all(isinstance(c, str) for c in rows[at] if c is not None)
        if texts and not _has_data(rows[at], style):
            named = scores[below] >= max(ENOUGH, 0.6 * max(scores[:SEARCHED_ROWS]))
            return 2 if first and named else 0
    return 0


def _heads_data(rows: list[Row], at: int, style: DateStyle) -> bool:
    """Whether a row of plain texts stands over rows with days, numbers or marks."""
    row = rows[at]
    texts = [cell for cell in row if isinstance(cell, str)]
    if len(texts) < 2 or len(texts) < filled_cells(row) or len(set(texts)) < len(texts):
        return False
    if any(read_number(cell) is not None or _is_data(cell, style) for cell in texts):
        return False
    below = [other for other in rows[at + 1 : at + 6] if filled_cells(other) > 1]
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


def combine(rows: list[Row]) -> tuple[list[str], list[Cell]]:
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


def is_before_header(scores: list[float], at: int) -> bool:
    """Whether the best header of the first rows stands below this row."""
    window = scores[:SEARCHED_ROWS]
    best = max(window, default=0.0)
    return best >= ENOUGH and window.index(best) > at


def header_follows(rows: list[Row], scores: list[float], at: int, style: DateStyle) -> bool:
    """Whether one of the next three rows is a header."""
    for below in range(at + 1, min(at + 4, len(rows))):
        if filled_cells(rows[below]) > 1:
            return bool(header_span(rows, scores, below, style, first=False))
    return False
