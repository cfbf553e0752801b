"""Uploads service.

How do uploaded files become an interchange folder, without trusting their names or sizes?

Either CSV files named after their table, or one ZIP of them. What is written gets names of our own.
A ZIP is told by its first bytes, and what it unpacks to is counted while it is unpacked.
"""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Sequence
from pathlib import Path, PurePosixPath
from typing import IO, BinaryIO

from solespan.api.errors import BadUpload, TooLarge
from solespan.api.services.importing.data_package import DESCRIPTOR
from solespan.forecast.frames import TABLES

__all__ = ["Upload", "lay_out"]

Upload = tuple[str, BinaryIO]

ZIP_MAGIC = b"PK\x03\x04"
MAX_ZIP_ENTRIES = 100
PIECE_BYTES = 256 * 1024
ACCEPTED = ", ".join(f"{name}.csv" for name in TABLES) + ", or one ZIP of them"


def lay_out(uploads: Sequence[Upload], folder: Path, *, limit_bytes: int) -> None:
    """Write the uploads as CSV files of the interchange folder.

    Parameters
    ----------
    uploads
        File names as sent, and the open files.
    folder
        An existing, empty folder.
    limit_bytes
        Most bytes that all files together may have once unpacked.

    Raises `BadUpload` for anything else than the accepted files, `TooLarge`.
    """
    left = limit_bytes
    for sent_name, stream in uploads:
        if PurePosixPath(sent_name.replace("\\", "/")).name == DESCRIPTOR:
            continue  # a whole folder was sent; its description holds no rows
        magic = stream.read(len(ZIP_MAGIC))
        stream.seek(0)
        if magic == ZIP_MAGIC:
            if len(uploads) > 1:
                raise _bad("A ZIP file comes alone.", "the upload")
            _unpack(stream, folder, left)
        else:
            left -= _copy(stream, _target(folder, sent_name), left)


def _unpack(stream: BinaryIO, folder: Path, limit_bytes: int) -> None:
    try:
        with zipfile.ZipFile(stream) as archive:
            entries = [entry for entry in archive.infolist() if not _is_clutter(entry.filename)]
            if len(entries) > MAX_ZIP_ENTRIES:
                raise _bad(f"The ZIP holds more than {MAX_ZIP_ENTRIES} files.", "the ZIP")
            left = limit_bytes
            for entry in entries:
                if entry.flag_bits & 1:
                    raise _bad("The ZIP is encrypted.", "the ZIP")
                with archive.open(entry) as unpacked:
                    left -= _copy(unpacked, _target(folder, entry.filename), left)
    # A damaged or odd archive fails in each of these ways: no directory, a broken stream, one cut
    # short, a compression unknown here, or an offset outside of the file.
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as cause:
        raise _bad("The ZIP cannot be read.", "the ZIP") from cause


def _is_clutter(name: str) -> bool:
    """Tell folders, what file managers add, and an export's own description from tables."""
    return name.endswith(("/", ".DS_Store", DESCRIPTOR)) or name.startswith("__MACOSX/")


def _target(folder: Path, sent_name: str) -> Path:
    """Return where a file goes: the name of a table, and nothing else of what was sent."""
    name = PurePosixPath(sent_name.replace("\\", "/")).name.lower()
    stem = name.removesuffix(".csv")
    if stem == name or stem not in TABLES:
        raise _bad("A file is not named after a table.", f"the file {name[:60]!r}")
    target = folder / f"{stem}.csv"
    if target.exists():
        raise _bad("A table comes twice.", f"the file {stem}.csv")
    return target


def _copy(source: IO[bytes], target: Path, left: int) -> int:
    copied = 0
    with target.open("wb") as out:
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
        what, where=where, accepted=ACCEPTED, remedy="Send the files of one interchange folder."
    )
