"""Backup service: how does everything that a person entered leave as one file, and come back?

The file is a ZIP: the six tables as CSV, the rest as lines of JSON. `backup.json` holds the version
and the checksum of each file. Restoring adds what is not there and replaces what differs,
in one transaction. What was added since stays. It is kept as an import, and undone like one.
"""

from __future__ import annotations

import hashlib
import io
import json
import tempfile
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import IO, Any, BinaryIO

from sqlalchemy.orm import Session

from solespan.api.errors import BadUpload, Conflict, Refused, TooLarge
from solespan.api.services.context import AppContext
from solespan.api.services.importing.data_package import DESCRIPTOR, package_text
from solespan.api.services.importing.exports import write_rows
from solespan.api.services.importing.imports import import_files
from solespan.api.services.importing.uploads import BACKUP, DAMAGED, is_archive
from solespan.api.services.interchange.report import Counts, Finding, ImportReport
from solespan.api.storage.importing.backup_rows import PARTS, BadRow, put_rows, read_rows
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.scope import current_revision_id
from solespan.forecast.frames import TABLES

__all__ = ["VERSION", "WouldReplace", "restore_backup", "write_backup"]

VERSION = 1
KIND = "solespan backup of a rack"
PIECE_BYTES = 256 * 1024
MANIFEST_BYTES = 1024 * 1024
LOG = tuple(f"{name}.csv" for name in TABLES)
MORE = {f"more/{name}.jsonl": name for name in PARTS}
WORDS = "a backup that this program has written, as it was"


class WouldReplace(Conflict):
    """Records that are here differ from the backup; `report` counts them. Nothing was changed."""

    def __init__(self, report: ImportReport) -> None:
        count = sum(counts.updated for counts in report.counts.values())
        super().__init__(
            f"{count:,} record{'' if count == 1 else 's'} here would be replaced.",
            where="the backup",
            accepted="a confirmation",
            remedy="Confirm it, or leave everything as it is.",
        )
        self.report = report


def write_backup(ctx: AppContext, stream: BinaryIO) -> None:
    """Write everything that was entered as one ZIP."""
    sums: dict[str, str] = {}
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        with ctx.database.reading() as session:
            for name, table in TABLES.items():
                with _entry(archive, f"{name}.csv", sums) as text:
                    write_rows(table, load_rows(session, name, by="wearer_id", ids=None), text)
            for file, name in MORE.items():
                with _entry(archive, file, sums) as text:
                    for row in read_rows(session, name):
                        text.write(json.dumps(row, ensure_ascii=False) + "\n")
        with _entry(archive, DESCRIPTOR, sums) as text:
            text.write(package_text())
        made_on = ctx.clock.today().isoformat()
        told = {"kind": KIND, "version": VERSION, "made_on": made_on, "sha256": sums}
        archive.writestr(BACKUP, json.dumps(told, indent=1) + "\n")


class _Hashed(io.RawIOBase):
    """A stream that counts a checksum of what is written through it."""

    def __init__(self, target: IO[bytes], file: str, sums: dict[str, str]) -> None:
        self._target, self._file, self._sums = target, file, sums
        self._sum = hashlib.sha256()

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self._sum.update(data)
        return self._target.write(data)

    def close(self) -> None:
        if not self.closed:
            self._sums[self._file] = self._sum.hexdigest()
            self._target.close()
        super().close()


def _entry(archive: zipfile.ZipFile, file: str, sums: dict[str, str]) -> io.TextIOWrapper:
    raw = _Hashed(archive.open(file, "w", force_zip64=True), file, sums)
    return io.TextIOWrapper(io.BufferedWriter(raw, PIECE_BYTES), "utf-8", newline="")


def restore_backup(
    ctx: AppContext, path: Path, *, replace: bool, rehearse: bool = False
) -> tuple[ImportReport, str]:
    """Put a backup back; without `replace` only where nothing here is replaced.

    With `rehearse` the report tells what would be done to the log, and nothing is written. The
    report counts what became of each table. Beside it comes the id of the revision that undoes all
    of it, empty where nothing changed.

    Raises `BadUpload` for a file that is no backup, is damaged or has a newer version. Raises
    `TooLarge`, `WouldReplace`, or `Refused` where its rows do not fit to what is here. Nothing is
    changed then.
    """
    with tempfile.TemporaryDirectory(prefix="solespan-") as folder, ExitStack() as stack:
        made_on, files = _unpack(path, Path(folder), ctx.settings.upload_limit_bytes)
        origin = _Origin(files, replace=replace)
        try:
            report = import_files(
                ctx.database,
                {name: stack.enter_context(files[name].open("rb")) for name in LOG},
                source=f"backup of {made_on}",
                today=ctx.clock.today,
                rehearse=rehearse,
                limit_bytes=ctx.settings.upload_limit_bytes,
                origin=origin,
            )
        except BadRow as bad:
            raise _bad(f"A row of it cannot be put back: {bad}.", path) from bad
    if report.refused:
        first = next(one for one in report.rows if one.severity == "refused")
        raise Refused(
            f"Nothing was restored: {report.refused:,} rows do not fit to what is here. The first: "
            f"{first.file}, line {first.line}, {first.column} {first.value!r}: {first.why}.",
            where=first.file,
            accepted=WORDS,
            remedy="Correct or delete the record here that stands against it, and restore again.",
        )
    is_changed = report.written and bool(report.changed)
    if is_changed:
        ctx.refitter.wake(refit=True)
    return report, origin.revision_id if is_changed else ""


class _Origin:
    """Takes along the rows of a backup beside the log; see `imports.Origin`."""

    def __init__(self, files: Mapping[str, Path], *, replace: bool) -> None:
        self.findings: list[Finding] = []
        self.assumed: list[dict[str, str]] = []
        self.revision_id = ""
        self._files, self._replace = files, replace

    def place(self, finding: Finding) -> Finding:
        return finding

    def write_along(self, session: Session, report: ImportReport) -> None:
        session.flush()
        self.revision_id = current_revision_id()
        for file, name in MORE.items():
            put = put_rows(session, name, _lines(self._files[file]))
            same = put.rows - put.new - put.updated
            if put.rows:
                report.counts[name] = Counts(put.rows, put.new, put.updated, same)
        if not self._replace and any(counts.updated for counts in report.counts.values()):
            raise WouldReplace(report)  # the transaction goes with it


def _lines(path: Path) -> Iterator[dict[str, Any]]:
    with path.open(encoding="utf-8") as lines:
        for line in lines:
            row = json.loads(line)
            if not isinstance(row, dict):
                raise BadRow("a line is no object")
            yield row


def _unpack(path: Path, folder: Path, limit_bytes: int) -> tuple[str, dict[str, Path]]:
    """Check a backup, and unpack it under names of our own; return its day and its files."""
    with path.open("rb") as stream:
        if not is_archive(stream, path.name):
            raise _none(path)
    try:
        with zipfile.ZipFile(path) as archive:
            if BACKUP not in archive.namelist():
                raise _none(path)
            made_on, sums = _manifest(archive, path)
            files: dict[str, Path] = {}
            left = limit_bytes
            for file in (*LOG, *MORE):
                files[file] = folder / str(len(files))
                left -= _copy(archive, file, files[file], sums.get(file, ""), left)
    except DAMAGED as cause:
        raise _damaged(path) from cause
    return made_on, files


def _manifest(archive: zipfile.ZipFile, path: Path) -> tuple[str, Mapping[str, str]]:
    """Read the version and the checksums."""
    with archive.open(BACKUP) as stream:
        told = json.loads(stream.read(MANIFEST_BYTES))
    if not isinstance(told, dict) or told.get("kind") != KIND:
        raise _none(path)
    version = told.get("version")
    if not isinstance(version, int) or version > VERSION:
        raise BadUpload(
            f"This backup has the version {version}. This program reads up to version {VERSION}.",
            where=path.name,
            accepted=f"a backup of version {VERSION}",
            remedy="Restore it with the newer program that wrote it.",
        )
    sums = told.get("sha256")
    if not isinstance(sums, dict):
        raise BadRow("no checksums")
    return str(told.get("made_on", ""))[:10], sums


def _copy(archive: zipfile.ZipFile, file: str, target: Path, expected: str, left: int) -> int:
    if file not in archive.namelist():
        raise ValueError(file)
    counted, copied = hashlib.sha256(), 0
    with archive.open(file) as source, target.open("wb") as out:
        while piece := source.read(PIECE_BYTES):
            copied += len(piece)
            if copied > left:
                raise TooLarge(
                    "The backup is larger than this service takes at once.",
                    where=file,
                    remedy="Restore it with: solespan import --backup, and raise "
                    "SOLESPAN_UPLOAD_LIMIT_BYTES.",
                )
            counted.update(piece)
            out.write(piece)
    if counted.hexdigest() != expected:
        raise ValueError(file)
    return copied


def _bad(what: str, path: Path) -> BadUpload:
    remedy = "Nothing was changed. Take the file from where you keep it once more, or another one."
    return BadUpload(what, where=path.name, accepted=WORDS, remedy=remedy)


def _damaged(path: Path) -> BadUpload:
    return _bad("The backup is damaged: its content is not what was written.", path)


def _none(path: Path) -> BadUpload:
    return BadUpload(
        "This file is no backup of a rack.",
        where=path.name,
        accepted=WORDS,
        remedy="Tables and ZIPs of tables go to the page Import, or to: solespan import",
    )
