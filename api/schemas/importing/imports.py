"""HTTP schemas of imports: which fields do an import's report and the list of past imports have?"""

from __future__ import annotations

import datetime as dt
from typing import Any, Literal

from pydantic import Field, create_model

from solespan.api.schemas.rack.records import Answer, Message, page_fields

__all__ = ["ImportFilters", "ImportPage", "ImportTaken", "PastImport"]

_filters: dict[str, Any] = page_fields()
ImportFilters: type[Message] = create_model(
    "ImportFilters", __base__=Message, __doc__="Which page of the list.", **_filters
)


class TableCounts(Answer):
    """How many rows of one file became what."""

    rows: int = Field(description="rows in the file. Unit: rows")
    new: int = Field(description="rows that are new. Unit: rows")
    updated: int = Field(description="rows that replace a stored one. Unit: rows")
    unchanged: int = Field(description="rows that are stored already. Unit: rows")
    refused: int = Field(description="rows that cannot be true. Unit: rows")
    questioned: int = Field(description="rows that are odd, but taken. Unit: rows")


class RowFinding(Answer):
    """One thing about one row of a file."""

    severity: Literal["refused", "questioned", "noted"] = Field(
        description="refused rows are not taken. Unit: none (word)"
    )
    file: str = Field(description="name of the file. Unit: none (text)")
    line: int = Field(description="line in the file, the header is 1. Unit: lines")
    column: str = Field(description="name of the column. Unit: none (text)")
    value: str = Field(description="the value in the file. Unit: none (text)")
    why: str = Field(description="what is wrong or odd. Unit: none (text)")
    accepted: str = Field(description="what would be accepted. Unit: none (text)")


class AssumedValue(Answer):
    """One value that no file stated, so that it got a default."""

    table: str = Field(description="the table. Unit: none (word)")
    id: str = Field(description="the row. Unit: none (identifier)")
    column: str = Field(description="the column. Unit: none (word)")
    value: str = Field(description="the default. Unit: none (text)")
    words: str = Field(description="what was assumed, as a sentence. Unit: none (text)")


class ImportReport(Answer):
    """What an import took, refused and questioned."""

    source: str = Field(description="where the files came from. Unit: none (text)")
    written: bool = Field(description="the good rows are stored. Unit: true or false")
    counts: dict[str, TableCounts] = Field(description="by table. Unit: none (object)")
    rows: list[RowFinding] = Field(description="refused rows first. Unit: none (list)")
    rows_left_out: int = Field(description="findings that are not listed. Unit: rows")
    assumed: list[AssumedValue] = Field(
        default=[], description="values to look at and to correct. Unit: none (list)"
    )


class ImportTaken(Answer):
    """The answer to an import."""

    import_id: str | None = Field(
        description="the kept record of it; null when nothing changed. Unit: none (identifier)"
    )
    report: ImportReport = Field(description="row by row. Unit: none (object)")


class ImportSummary(Answer):
    """One past import."""

    import_id: str = Field(description="the import. Unit: none (identifier)")
    imported_at: dt.datetime = Field(description="when. Unit: instant, ISO 8601 with offset")
    source: str = Field(description="where the files came from. Unit: none (text)")
    counts: dict[str, TableCounts] = Field(description="by table. Unit: none (object)")


class PastImport(ImportSummary):
    """One past import with its report."""

    report: ImportReport = Field(description="row by row. Unit: none (object)")


class ImportPage(Answer):
    """One page of past imports, newest first."""

    items: list[ImportSummary] = Field(description="the imports. Unit: none (list)")
    next: str | None = Field(
        description="pass it as `after` for the next page; null on the last one. "
        "Unit: none (opaque text)"
    )
