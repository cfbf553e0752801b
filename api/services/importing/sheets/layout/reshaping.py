"""Shape of blocks: how do a diary and dates in three columns become plain columns?"""

from __future__ import annotations

from dataclasses import replace

from solespan.api.services.importing.sheets.cells.axis import month_and_year_in, text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle
from solespan.api.services.importing.sheets.cells.quantities import read_number
from solespan.api.services.importing.sheets.cells.words import plain
from solespan.api.services.importing.sheets.layout.blocks import Block
from solespan.api.services.importing.sheets.layout.text_lines import cut, says_event
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = ["reshape"]

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
    entries = [cut(text, replace(style, year=year)) for text in texts]
    if sum(day != "" for day, _ in entries) < 0.6 * len(entries):
        return block
    rows: list[tuple[Cell, ...]] = [(day or None, rest or None) for day, rest in entries]
    if sum(says_event(rest) for _, rest in entries) < 0.3 * len(entries):
        return block
    return replace(block, headers=["Date", "Event"], heads=[None, None], rows=rows)


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
