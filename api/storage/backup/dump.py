"""Database dump.

How does a backup file come about, and how is it read and checked?

Inside the sealed file is a gzip stream of lines. A head comes first, then the name and the rows of
each table. Counts, digests and highest numbers come last. The file is written beside its place,
read again from the disk, compared, and only then given its name.
"""

from __future__ import annotations

import gzip
import io
import json
import os
import zlib
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import IO, Any

from solespan.api.errors import Conflict, NotFound, Refused, SolespanError
from solespan.api.storage.backup.rows import (
    Columns,
    Line,
    Tally,
    highest_numbers,
    lines_of,
    snapshot,
    tables_of,
)
from solespan.api.storage.backup.sealed_file import (
    SealedReader,
    SealedWriter,
    damaged,
    read_header,
)
from solespan.api.storage.schema import refuse_newer, revision_of
from solespan.api.storage.session import Database

__all__ = ["BackupReport", "OpenBackup", "check", "dump", "is_encrypted", "opened"]

LINE_BYTES = 512 * 1024 * 1024  # longer than any row that the service takes
COMPRESSION = 3
BUFFER_BYTES = 1024 * 1024


@dataclass(frozen=True)
class BackupReport:
    """What a backup holds."""

    made_at: str
    program: str
    revision: str
    rows: Mapping[str, int]
    digests: Mapping[str, str]
    numbers: Mapping[str, int]
    size_bytes: int


@dataclass
class OpenBackup:
    """A backup that is being read; `report` is there once every line was read and compared."""

    head: Mapping[str, Any]
    tables: Mapping[str, Columns]
    lines: Iterator[Line]
    report: BackupReport | None = None


def dump(
    database: Database,
    path: Path,
    *,
    passphrase: str | None,
    now: datetime,
    replace: bool = False,
) -> BackupReport:
    """Write every row of every tenant into one file, as the database is at one moment.

    Raises `Conflict` where the file is there, `Refused` where it cannot be written. A file that
    has the name is whole.
    """
    if path.exists() and not replace:
        raise Conflict(
            f"{path} is there already.", where="FILE", remedy="Name another, or add --replace."
        )
    revision = revision_of(database)
    if revision is None:
        raise NotFound(
            "The database is empty, so there is nothing to keep.",
            where="environment variable SOLESPAN_DATABASE_URL",
            remedy="Name the database that you mean.",
        )
    refuse_newer(revision)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            tally = _write(database, out, passphrase, {"revision": revision, "made_at": now})
            out.flush()
            os.fsync(out.fileno())
        report = check(part, passphrase)
        if (report.rows, report.digests) != (tally.rows, tally.digests):
            raise damaged("the disk gave back other rows than were written")
        part.replace(path)
        _sync_folder(path.parent)
    except OSError as cause:
        raise Refused(
            f"{path} cannot be written: {cause.strerror or cause}.",
            where="FILE",
            accepted="a new file in a folder that is there, with space on its disk",
            remedy="Name another file, or make space.",
        ) from cause
    finally:
        part.unlink(missing_ok=True)
    return report


def _write(
    database: Database, out: IO[bytes], passphrase: str | None, about: dict[str, Any]
) -> Tally:
    sealed = SealedWriter(out, passphrase)
    with snapshot(database) as connection, sealed, _packed(sealed) as packed:
        tables = tables_of(connection)
        about |= {"made_at": about["made_at"].isoformat(), "program": version("solespan")}
        packed.write(_line({**about, "tables": tables}))
        tally, at = Tally(tables), ""
        with closing(lines_of(connection, tables)) as lines:
            for line in lines:
                if line.table != at:
                    at = line.table
                    packed.write(_line({"table": at}))
                packed.write(line.text)
                tally.add(line)
        numbers = highest_numbers(connection, tables)
        packed.write(_line({"rows": tally.rows, "digests": tally.digests, "numbers": numbers}))
    return tally


def _packed(sealed: SealedWriter) -> gzip.GzipFile:
    return gzip.GzipFile(fileobj=sealed, mode="wb", compresslevel=COMPRESSION, mtime=0)


def _line(content: Mapping[str, Any]) -> bytes:
    return json.dumps(content).encode() + b"\n"


def _sync_folder(folder: Path) -> None:
    """Let the new name survive a power cut."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def _readable(path: Path) -> Iterator[IO[bytes]]:
    try:
        with path.open("rb") as source:
            yield source
    except OSError as cause:
        raise Refused(
            f"{path} cannot be read: {cause.strerror or cause}.",
            where="FILE",
            accepted="a file that solespan backup wrote",
            remedy="Name another file.",
        ) from cause


def is_encrypted(path: Path) -> bool:
    """Say whether a backup needs a passphrase. Raises `Refused` where the file is no backup."""
    with _readable(path) as source:
        return bool(read_header(source)[1]["sealed"] != "sha256")


@contextmanager
def opened(path: Path, passphrase: str | None) -> Iterator[OpenBackup]:
    """Open a backup; whatever is not as it was written raises `Refused` while it is read."""
    with _readable(path) as source, _whole():
        sealed = io.BufferedReader(SealedReader(source, passphrase), BUFFER_BYTES)
        with gzip.GzipFile(fileobj=sealed) as packed:
            head = _parsed(packed)
            content = OpenBackup(head, head["tables"], iter(()))
            content.lines = _lines(packed, content, path.stat().st_size)
            yield content


@contextmanager
def _whole() -> Iterator[None]:
    try:
        yield
    except (EOFError, zlib.error, gzip.BadGzipFile, KeyError, ValueError) as cause:
        if isinstance(cause, SolespanError):
            raise
        raise damaged("its content cannot be read") from cause


def _parsed(packed: gzip.GzipFile) -> dict[str, Any]:
    content = json.loads(packed.readline(LINE_BYTES))
    if not isinstance(content, dict):
        raise damaged("its content cannot be read")
    return content


def _lines(packed: gzip.GzipFile, content: OpenBackup, size_bytes: int) -> Iterator[Line]:
    tally, table = Tally(content.tables), ""
    while text := packed.readline(LINE_BYTES):
        if text.startswith(b"["):
            line = Line(table, text)
            tally.add(line)
            yield line
            continue
        said = json.loads(text)
        if "table" in said:
            table = said["table"]
            continue
        if (said["rows"], said["digests"]) != (tally.rows, tally.digests) or packed.read(1):
            raise damaged("its rows are not those that were counted")
        head = {name: content.head[name] for name in ("made_at", "program", "revision")}
        content.report = BackupReport(**head, **said, size_bytes=size_bytes)
    if content.report is None:
        raise damaged("its end is missing")


def check(path: Path, passphrase: str | None) -> BackupReport:
    """Read a whole backup and compare it with its own counts and digests. Raises `Refused`."""
    with opened(path, passphrase) as content:
        for _ in content.lines:
            pass
    assert content.report is not None  # noqa: S101 - the last line was read, or it has raised
    return content.report
