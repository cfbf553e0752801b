"""Shape of blocks: how do a diary and dates in three columns become plain columns?"""

from __future__ import annotations

from dataclasses import replace

from solespan.api.services.importing.sheets.cells.axis import month_and_year_in, text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_day
from solespan.api.services.importing.sheets.cells.quantities import read_number
from solespan.api.services.importing.sheets.cells.words import plain, word_of
from solespan.api.services.importing.sheets.layout.blocks import Block
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = ["reshape"]

DASHES = ":,-\u2013"
DATE_PARTS = {
    "year": {"year", "jahr", "annee", "anno", "ano", "jaar"},
    "month": {"month", "monat", "mois", "mese", "mes", "maand"},
    "day": {"day", "tag", "jour", "giorno", "dia", "dag"},
}


def reshape(block: Block, style: DateStyle) -> Block:
    """Give days and texts of a block columns of their own."""
    return _join_date_columns(_split_diary(block, style))


def _split_diary(block: Block, style: DateStyle) -> Block:
    """Cut lines that begin with a day into day and text."""
    if not all(head is None for head in block.heads[1:]):
        return block
    texts = [", ".join(text_of(c) for c in row if c is not None) for row in block.rows]
    year = month_and_year_in(block.title)[1] or 2024
    cut = [_cut(text, replace(style, year=year)) for text in texts]
    if sum(day != "" for day, _ in cut) < 0.6 * len(cut):
        return block
    rows: list[tuple[Cell, ...]] = [(day or None, rest or None) for day, rest in cut]
    told = sum(bool(word_of("event", rest)[0] or word_of("work", rest)[0]) for _, rest in cut)
    if told < 0.3 * len(cut) and len(block.headers) > 1:
        return block
    second = "Event" if told >= 0.3 * len(cut) else "Shoe"
    return replace(block, headers=["Date", second], heads=[None, None], rows=rows)


def _join_date_columns(block: Block) -> Block:
    """Put year, month and day of a row together where each has a column of its own."""
    places: dict[str, int] = {}
    for n, header in enumerate(block.headers):
        part = next((part for part, words in DATE_PARTS.items() if plain(header) in words), "")
        numbers = [read_number(c) for c in block.column(n) if c is not None]
        if part and numbers and all(v is not None and v <= 2100 for v in numbers):
            places.setdefault(part, n)
    if len(places) < 3:
        return block
    kept = [n for n in range(len(block.headers)) if n not in places.values()]
    rows: list[tuple[Cell, ...]] = []
    for row in block.rows:
        parts = [text_of(row[places[part]]) for part in ("year", "month", "day")]
        told = "-".join(part.zfill(2) for part in parts) if all(parts) else None
        rows.append((told, *(row[n] for n in kept)))
    return replace(
        block,
        headers=["Date", *(block.headers[n] for n in kept)],
        heads=[None, *(block.heads[n] for n in kept)],
        rows=rows,
    )


def _cut(text: str, style: DateStyle) -> tuple[str, str]:
    words = text.split()
    for size in (4, 3, 2, 1):
        head = " ".join(words[:size]).rstrip(DASHES)
        if len(words) > size and any(c.isdigit() for c in head) and read_day(head, style):
            return head, " ".join(words[size:]).lstrip(f"{DASHES} ")
    return "", text
