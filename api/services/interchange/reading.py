"""Reading service.

Which columns of text does a stream of CSV hold, and on which line does each row begin?

It works line by line and gives a chunk of rows at a time. So it stops early at a stream that is
too long, has a giant line or is no text. Nothing is interpreted here. See `cells`.
"""

from __future__ import annotations

import csv
import difflib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import BinaryIO

from solespan.api.errors import BadUpload, TooLarge
from solespan.api.services.interchange.report import REFUSED, Finding
from solespan.forecast.frames import Column, Table

__all__ = ["MAX_LINE_BYTES", "RawTable", "joined", "read_chunks", "read_table"]

MAX_LINE_BYTES = 64 * 1024
CHUNK_ROWS = 20_000
BYTE_ORDER_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class RawTable:
    """A file as columns of text, `lines` the first line of each row."""

    table: Table
    file: str
    lines: list[int]
    columns: dict[str, list[str]]
    findings: list[Finding]


def read_table(
    stream: BinaryIO,
    table: Table,
    *,
    limit_bytes: int,
    progress: Callable[[str, int], None] | None = None,
) -> RawTable:
    """Read one file as a whole; see `read_chunks`."""
    return joined(read_chunks(stream, table, limit_bytes=limit_bytes, progress=progress))


def joined(chunks: Iterable[RawTable]) -> RawTable:
    """Put the chunks of one file together."""
    whole, *others = chunks
    for part in others:
        whole.lines.extend(part.lines)
        whole.findings.extend(part.findings)
        for name, cells in part.columns.items():
            whole.columns[name].extend(cells)
    return whole


def read_chunks(
    stream: BinaryIO,
    table: Table,
    *,
    limit_bytes: int,
    progress: Callable[[str, int], None] | None = None,
) -> Iterator[RawTable]:
    """Read one file a chunk at a time; at least one comes, without rows where there are none.

    Parameters
    ----------
    stream : binary stream
        CSV of one table: UTF-8 with or without byte-order mark, commas, a header row.
    table : Table
        The table whose columns are accepted.
    limit_bytes : int
        Longest stream that is read.
    progress : callable, optional
        Called now and then with the file's name and the bytes read so far.

    Raises `BadUpload` when the file as a whole cannot be read, `TooLarge` when it is too long.
    """
    file = f"{table.name}.csv"
    reader = csv.reader(_lines(stream, file, limit_bytes, progress), strict=True)
    header = _header(reader, table, file)
    findings: list[Finding] = []
    lines: list[int] = []
    rows: list[list[str]] = []
    width = len(header)
    begin = reader.line_num + 1
    try:
        for row in reader:
            line, begin = begin, reader.line_num + 1
            if not any(row):
                continue
            if len(row) != width:
                findings.append(_wrong_width(file, line, row, width))
                continue
            rows.append(row)
            lines.append(line)
            if len(rows) == CHUNK_ROWS:
                yield RawTable(table, file, lines, _columns(header, rows), findings)
                findings, lines, rows = [], [], []
    except csv.Error as cause:
        raise _malformed(file, begin, cause) from None
    yield RawTable(table, file, lines, _columns(header, rows), findings)


def _columns(header: list[str], rows: list[list[str]]) -> dict[str, list[str]]:
    columns = [list(column) for column in zip(*rows, strict=True)] or [[] for _ in header]
    return dict(zip(header, columns, strict=True))


def _lines(
    stream: BinaryIO,
    file: str,
    limit_bytes: int,
    progress: Callable[[str, int], None] | None,
) -> Iterator[str]:
    number = 0
    seen_bytes = 0
    while line := stream.readline(MAX_LINE_BYTES + 1):
        number += 1
        seen_bytes += len(line)
        if len(line) > MAX_LINE_BYTES:
            raise BadUpload(
                f"A line is longer than {MAX_LINE_BYTES // 1024} KiB.",
                where=f"{file}, line {number}",
                accepted="one row per line, lines ending with a line feed",
                remedy="Look whether this is a CSV file, and whether a quote is left open.",
            )
        if seen_bytes > limit_bytes:
            raise TooLarge(
                f"The file is larger than {limit_bytes:,} bytes.",
                where=f"{file}, line {number}",
                remedy="Split the folder by wearer or year and import the parts one after the "
                "other, or raise SOLESPAN_UPLOAD_LIMIT_BYTES.",
            )
        if number == 1:
            line = line.removeprefix(BYTE_ORDER_MARK)
        if progress and number % 2000 == 0:
            progress(file, seen_bytes)
        try:
            yield line.decode("utf-8")
        except UnicodeDecodeError as cause:
            raise _wrong_encoding(file, number, line, cause) from None
    if progress:
        progress(file, seen_bytes)


def _wrong_encoding(file: str, number: int, line: bytes, cause: UnicodeDecodeError) -> BadUpload:
    wide = line[:2] in (b"\xff\xfe", b"\xfe\xff")
    guess = "UTF-16" if wide else "Windows-1252 or Latin-1"
    return BadUpload(
        f"The file is not UTF-8: byte 0x{line[cause.start]:02x} does not belong there. "
        f"It may be {guess}.",
        where=f"{file}, line {number}, byte {cause.start + 1}",
        accepted="UTF-8, with or without a byte-order mark",
        remedy="Save the file again as CSV in UTF-8.",
    )


def _malformed(file: str, line: int, cause: csv.Error) -> BadUpload:
    return BadUpload(
        f"The row that begins here is not CSV: {cause}.",
        where=f"{file}, line {line}",
        accepted='commas between fields; a field with commas, quotes or line breaks in "quotes", '
        'a quote within it doubled ("")',
        remedy="Close the quote, or double the quotes within the text.",
    )


def _wrong_width(file: str, line: int, row: list[str], width: int) -> Finding:
    return Finding(
        REFUSED,
        file,
        line,
        "",
        ",".join(row)[:200],
        f"the row has {len(row)} fields, the header {width}",
        f"{width} fields; a text with a comma needs quotes",
    )


def _header(reader: Iterator[list[str]], table: Table, file: str) -> list[str]:
    try:
        header = [name.strip() for name in next(reader, [])]
    except csv.Error as cause:
        raise _malformed(file, 1, cause) from None
    problems = _header_problems(header, table)
    if problems:
        raise BadUpload(
            f"The header cannot be used: {'; '.join(problems)}.",
            where=f"{file}, line 1",
            accepted=", ".join(column.name for column in table.columns),
            remedy="Correct the header; columns may have any order.",
        )
    return header


def _header_problems(header: list[str], table: Table) -> list[str]:
    if not header:
        return ["the file is empty"]
    if len(header) == 1 and any(sign in header[0] for sign in ";\t|"):
        return ["fields are separated by another sign than a comma"]
    known = [column.name for column in table.columns]
    problems = []
    for place, name in enumerate(header, start=1):
        if not name:
            problems.append(f"column {place} has no name")
        elif name not in known:
            near = difflib.get_close_matches(name.lower(), known, n=1, cutoff=0.0)[0]
            problems.append(f"unknown column {name!r}, the nearest known one is {near!r}")
    problems += [
        f"column {name!r} stands {times} times"
        for name, times in Counter(header).items()
        if name and times > 1
    ]
    in_irons = {column.iron_of: column.name for column in table.columns if column.iron_of}
    problems += [
        f"the required column {_either(column, in_irons)} is missing"
        for column in table.stored
        if column.required and not {column.name, in_irons.get(column.name)} & set(header)
    ]
    return problems


def _either(column: Column, in_irons: dict[str, str]) -> str:
    other = in_irons.get(column.name)
    return f"{column.name!r} (or {other!r})" if other else repr(column.name)
