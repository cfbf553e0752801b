"""Remarks: which lines of notes does a record's free text make?

A remark of a log gets its day in front. Text of any other column gets the column's name.
"""

from __future__ import annotations

from solespan.api.services.importing.sheets.assembly.record import Record
from solespan.api.services.importing.sheets.cells.words import plain, values_of

__all__ = ["add_text", "lines_of"]

DAYS = (
    "wear_days.worn_on",
    "checks.checked_on",
    "bench_jobs.received_on",
    "bench_jobs.finished_on",
    "bench_jobs.returned_on",
)


def add_text(record: Record, header: str, text: str) -> None:
    """Keep what a column of free text says; a header that only says `notes` is left out."""
    if plain(header) in values_of("remark_header"):
        record.remarks.append(text)
    else:
        record.notes.append(f"{header}: {text}")


def lines_of(record: Record, *, dated: bool) -> list[str]:
    """Return the lines for the notes, each once."""
    days = next((record.days[name] for name in DAYS if record.days.get(name)), [])
    day = f"{days[0].day}: " if dated and len(days) == 1 else ""
    texts = [*(f"{day}{remark}" for remark in record.remarks), *record.notes]
    return [*dict.fromkeys(" ".join(text.split()) for text in texts)]
