"""Lines of text: which days and pairs do free notes name, line by line?

A line begins with a day (`2024-03-01 wore the brown derby`), or with a pair whose events follow
(`Black oxford: bought 2019-05-04, resoled 2022-03-01`).
"""

from __future__ import annotations

import re
from dataclasses import replace

from solespan.api.services.importing.sheets.cells.axis import month_and_year_in, text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle, Day, read_day
from solespan.api.services.importing.sheets.cells.words import word_of
from solespan.api.services.importing.sheets.layout.blocks import Block
from solespan.api.services.importing.sheets.sheet import Cell, Sheet
from solespan.api.services.importing.sheets.translation import LEFT_OUT, Place, RowFate

__all__ = ["cut", "read_lines", "says_event", "split_caption"]

ENOUGH = 0.6
ANY_YEAR = 2024  # a leap year: every day is in it
DASHES = ":,-\u2013"
_BULLET = re.compile(r"^\s*[-*•\u2013]\s+")
_LABELLED = re.compile(r"([^:]{2,60}):\s*(\S.*)", re.DOTALL)
Entry = tuple[str, str]


def cut(text: str, style: DateStyle) -> Entry:
    """Cut a line into its day and the rest; the day is empty where it does not begin with one."""
    words = text.split()
    if read_day(text, style):
        return "", text
    for size in (4, 3, 2, 1):
        head = " ".join(words[:size]).rstrip(DASHES)
        if len(words) > size and any(c.isdigit() for c in head) and read_day(head, style):
            return head, " ".join(words[size:]).lstrip(f"{DASHES} ")
    return "", text


def split_caption(text: str, style: DateStyle) -> tuple[str, Day | None]:
    """Split the lines above a table into a name and a day."""
    words = text.split()
    for size in (4, 3, 2, 1):
        for begin in range(len(words) - size + 1):
            piece = " ".join(words[begin : begin + size]).strip(DASHES)
            day = read_day(piece, style) if any(c.isdigit() for c in piece) else None
            if day is not None:
                rest = [*words[:begin], *words[begin + size :]]
                return " ".join(rest).strip(f"{DASHES} "), day
    return text.strip(f"{DASHES} "), None


def says_event(text: str) -> bool:
    """Whether a text has a word for something that happened."""
    return bool(word_of("event", text)[0] or word_of("work", text)[0])


def read_lines(sheet: Sheet, style: DateStyle) -> tuple[list[Block], list[RowFate]] | None:
    """Read a sheet of free text as days and events; None = it is a table."""
    dated = replace(style, year=style.year or ANY_YEAR)
    told = [
        (_line(row), _BULLET.sub("", text_of(row[0])), line)
        for row, line in zip(sheet.rows, sheet.lines, strict=True)
    ]
    filled = [first for text, first, _ in told if text]
    likely = sum(bool(_entries(first, dated)) for first in filled)
    if likely < 2 or likely < ENOUGH * len(filled):
        return None
    rows: list[tuple[Cell, ...]] = []
    lines: list[int] = []
    fates: list[RowFate] = []
    titles: list[str] = []
    for text, _, line in told:
        found = _entries(text, dated)
        rows += [(day, event) for day, event in found]
        lines += [line] * len(found)
        if not found:
            why = "text that names no day" if text else "an empty row"
            fates.append(RowFate(Place(sheet.file, sheet.name, line), LEFT_OUT, why))
            titles.append(text)
    events = sum(says_event(str(event)) for _, event in rows)
    second = "Event" if events >= 0.3 * len(rows) else "Shoe"
    title = " ".join([*titles, sheet.name, sheet.file.rsplit(".", 1)[0]])
    year = month_and_year_in(title)[1]
    block = Block(sheet.file, sheet.name, 0, str(year or ""), ["Date", second], [None, None])
    block.rows, block.lines = rows, lines
    return [block], fates


def _line(row: tuple[Cell, ...]) -> str:
    """Put the pieces of a line together that commas had cut."""
    cells = [cell if isinstance(cell, str) else text_of(cell) for cell in row]
    return _BULLET.sub("", ",".join(cells).rstrip(", "))


def _entries(text: str, style: DateStyle) -> list[Entry]:
    """Return days and events of a line; none where it is no such line."""
    day, rest = cut(text, style)
    if day:
        return [(day, rest)] if len(rest) > 1 else []
    labelled = _LABELLED.fullmatch(text)
    if not labelled:
        return []
    out: list[Entry] = []
    for piece in re.split(r"[,;]\s*", labelled[2]):
        words = piece.split()
        for at in range(1, len(words)):
            head, tail = " ".join(words[:at]), " ".join(words[at:])
            if says_event(head) and read_day(tail, style):
                out.append((tail, f"{head} {labelled[1].strip()}"))
                break
    return out
