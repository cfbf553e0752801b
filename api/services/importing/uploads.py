"""Uploads service.

Which files were handed in, unpacked and laid out, without trusting their names or sizes?

Either files, or one ZIP of them. What is written gets names of our own. A ZIP is told by its first
bytes, and what it unpacks to is counted while it is unpacked. A workbook is a ZIP as well; it stays
as it is.
"""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, BinaryIO

from solespan.api.errors import BadUpload, TooLarge
from solespan.api.services.importing.data_package import DESCRIPTOR
from solespan.forecast.frames import TABLES

__all__ = ["BACKUP", "DAMAGED", "Given", "Upload", "is_archive", "lay_out", "table_named"]

Upload = tuple[str, BinaryIO]

ZIP_MAGIC = b"PK\x03\x04"
OTHER_ARCHIVES = {
    b"\x1f\x8b": "gzip",
    b"7z\xbc\xaf\x27\x1c": "7z",
    b"Rar!\x1a\x07": "RAR",
    b"\xfd7zXZ\x00": "xz",
    b"BZh": "bzip2",
    b"\x28\xb5\x2f\xfd": "Zstandard",
    b"PK\x05\x06": "an empty ZIP",
}
WORKBOOK_PARTS = {"[Content_Types].xml", "mimetype"}
COMPRESSIONS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # the others unpack into much memory
END_RECORD, END_BYTES, MAX_COMMENT_BYTES = b"PK\x05\x06", 22, 65_535
END_LOCATOR_64 = b"PK\x06\x07"
RECORD_64_BYTES = 76  # the record of large archives and its locator, before the end record
MAX_DIRECTORY_BYTES = 1024 * 1024
MAX_ZIP_ENTRIES = 100
NAME_LENGTH = 120
CLUTTER = ("thumbs.db", "desktop.ini", DESCRIPTOR)
PIECE_BYTES = 256 * 1024
BACKUP = "backup.json"  # by this file a ZIP is known as the backup of a rack
# A damaged or odd archive fails in each of these ways. It has no directory, or a broken stream, or
# one cut short. It has a name that is no text, a feature unknown here, or an offset outside of it.
DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,
    OSError,
    OverflowError,
    RuntimeError,
    ValueError,
)
ACCEPTED = "CSV, XLSX or ODS files, or one ZIP of them"


@dataclass(frozen=True)
class Given:
    """One file as it was handed in: the last part of its name, and where it lies now."""

    name: str
    path: Path


def lay_out(uploads: Sequence[Upload], folder: Path, *, limit_bytes: int) -> list[Given]:
    """Write the uploads into a folder, one file each, under names of our own.

    Parameters
    ----------
    uploads
        File names as sent, and the open files.
    folder
        An existing, empty folder.
    limit_bytes
        Most bytes that all files together may have once unpacked.

    Raises `BadUpload` for an archive that cannot be read, `TooLarge`.
    """
    given: list[Given] = []
    left = limit_bytes
    for sent_name, stream in uploads:
        if PurePosixPath(sent_name.replace("\\", "/")).name == DESCRIPTOR:
            continue  # a whole folder was sent; its description holds no rows
        if is_archive(stream, sent_name):
            if len(uploads) > 1:
                raise _bad("A ZIP file comes alone.", sent_name)
            return _unpack(stream, sent_name, folder, left)
        left -= _add(given, stream, sent_name, folder, left)
    return given


def table_named(file: str) -> str | None:
    """Return the table that a file is named after, or None."""
    stem = file.lower().removesuffix(".csv")
    return stem if stem != file.lower() and stem in TABLES else None


def _unpack(stream: BinaryIO, sent_name: str, folder: Path, left: int) -> list[Given]:
    given: list[Given] = []
    try:
        with zipfile.ZipFile(stream) as archive:
            entries = [entry for entry in archive.infolist() if not _is_clutter(entry.filename)]
            if BACKUP in archive.namelist():
                raise BadUpload(
                    "This ZIP is the backup of a rack.",
                    where=_tidy(sent_name),
                    accepted=ACCEPTED,
                    remedy="Restore it on the page Export and backup, or with: solespan import "
                    "--backup",
                )
            if len(entries) > MAX_ZIP_ENTRIES:
                raise _bad(f"The ZIP holds more than {MAX_ZIP_ENTRIES} files.", sent_name)
            for entry in entries:
                where = f"{_tidy(sent_name)}, {_tidy(entry.filename)}"
                if entry.flag_bits & 1:
                    raise _bad("The ZIP is encrypted.", where)
                if entry.compress_type not in COMPRESSIONS:
                    raise _bad("The ZIP is packed in an unusual way, such as LZMA.", where)
                with archive.open(entry) as unpacked:
                    left -= _add(given, unpacked, entry.filename, folder, left)
                with given[-1].path.open("rb") as inner:
                    if is_archive(inner, where):
                        raise _bad("The ZIP holds another archive.", where)
    except DAMAGED as cause:
        raise _bad("The ZIP cannot be read.", sent_name) from cause
    if not given:
        raise _bad("The ZIP holds no file.", sent_name)
    return given


def is_archive(stream: BinaryIO, name: str) -> bool:
    """Tell a ZIP of files from a single file. Raises `BadUpload` for other archives."""
    magic = stream.read(8)
    stream.seek(0)
    other = next((kind for sign, kind in OTHER_ARCHIVES.items() if magic.startswith(sign)), None)
    if other:
        raise _bad(f"The file is an archive of a kind that is not read here: {other}.", name)
    if not magic.startswith(ZIP_MAGIC):
        return False
    _check_directory(stream, name)
    try:
        with zipfile.ZipFile(stream) as archive:
            names = {entry.filename for entry in archive.infolist()}
    except DAMAGED as cause:
        raise _bad("The ZIP cannot be read.", name) from cause
    finally:
        stream.seek(0)
    return not names & WORKBOOK_PARTS


def _check_directory(stream: BinaryIO, name: str) -> None:
    """Refuse a list of contents that would fill the memory, before it is read."""
    stream.seek(0, 2)
    stream.seek(max(0, stream.tell() - END_BYTES - MAX_COMMENT_BYTES - RECORD_64_BYTES))
    tail = stream.read()
    stream.seek(0)
    at = len(tail) - END_BYTES
    if at < 0 or tail[at : at + 4] != END_RECORD or tail[-2:] != b"\0\0":
        at = tail.rfind(END_RECORD)
    if at < 0 or len(tail) < at + END_BYTES:
        raise _bad("The ZIP cannot be read: its end is missing.", name)
    size = int.from_bytes(tail[at + 12 : at + 16], "little")
    if tail[max(0, at - 20) : at].startswith(END_LOCATOR_64):
        size = max(size, int.from_bytes(tail[max(0, at - 36) : at - 28], "little"))
    if size > MAX_DIRECTORY_BYTES:
        raise _bad(f"The ZIP holds more than {MAX_ZIP_ENTRIES} files.", name)


def _is_clutter(name: str) -> bool:
    """Tell folders, what file managers add, and an export's own description from tables."""
    last = PurePosixPath(name.replace("\\", "/")).name
    hidden = last.startswith((".", "~$")) or last.lower() in (
        "thumbs.db",
        "desktop.ini",
        DESCRIPTOR,
    )
    return name.endswith("/") or name.startswith("__MACOSX/") or hidden


def _tidy(sent_name: str) -> str:
    """Return the last part of a name, and of that only what can be shown."""
    return _printable(PurePosixPath(sent_name.replace("\\", "/")).name) or "a file without a name"


def _printable(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)[-NAME_LENGTH:]


def _add(given: list[Given], source: IO[bytes], sent_name: str, folder: Path, left: int) -> int:
    name = _tidy(sent_name)
    known = {one.name.lower() for one in given}
    if name.lower() in known and not table_named(name):
        name = _printable(sent_name)  # with its folder: two years may have a log each
    if name.lower() in known:
        raise _bad("A file comes twice under the same name.", name)
    given.append(Given(name, folder / f"{len(given)}"))
    return _copy(source, given[-1], left)


def _copy(source: IO[bytes], target: Given, left: int) -> int:
    copied = 0
    with target.path.open("wb") as out:
        while piece := source.read(PIECE_BYTES):
            copied += len(piece)
            if copied > left:
                raise TooLarge(
                    "The files are larger than this service takes at once.",
                    where=target.name,
                    remedy="Split the folder by wearer or year, or import it on the command line.",
                )
            out.write(piece)
    return copied


def _bad(what: str, where: str) -> BadUpload:
    return BadUpload(
        what,
        where=_tidy(where),
        accepted=ACCEPTED,
        remedy="Send the files themselves, or pack them again as an ordinary ZIP.",
    )
