"""Local files service: which files does a path on this machine hand in?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from solespan.api.errors import BadUpload, TooLarge
from solespan.api.services.importing.files.file_imports import is_interchange
from solespan.api.services.importing.uploads import Given, is_archive, lay_out, table_named

__all__ = ["files_at"]

SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".ods")
MOST_FILES = 100


@contextmanager
def files_at(path: Path, *, limit_bytes: int) -> Iterator[tuple[list[Given], Path]]:
    """Give the files of a folder, or one file with a ZIP unpacked, and an empty folder to work in.

    Of a folder with files named after tables only these are given; else all sheets in it.

    Raises `BadUpload`, `TooLarge`.
    """
    with TemporaryDirectory(prefix="solespan-") as name:
        work = Path(name)
        (work / "given").mkdir()
        if path.is_dir():
            given = _of_folder(path)
        elif path.is_file():
            given = [Given(path.name, path)]
        else:
            raise BadUpload(
                "There is no such file or folder.",
                where=str(path),
                accepted="a table as CSV, XLSX or ODS, a ZIP, or a folder of these",
                remedy="Give the path of the file, or of the folder that holds the files.",
            )
        for one in given:
            _check(one, limit_bytes)
        if len(given) == 1:
            with given[0].path.open("rb") as stream:
                if is_archive(stream, given[0].name):
                    given = lay_out([(path.name, stream)], work / "given", limit_bytes=limit_bytes)
        yield given, work


def _of_folder(folder: Path) -> list[Given]:
    files = [Given(path.name, path) for path in sorted(folder.iterdir()) if path.is_file()]
    sheets = [one for one in files if one.path.suffix.lower() in SUFFIXES]
    tables = [one for one in sheets if table_named(one.name)]
    given = [one for one in sheets if not one.name.startswith((".", "~$"))]
    given = tables if is_interchange(tables) else given
    if not given or len(given) > MOST_FILES:
        raise BadUpload(
            "The folder holds no sheet." if not given else "The folder holds too many sheets.",
            where=str(folder),
            accepted=f"a folder with pairs.csv and soles.csv, or with up to {MOST_FILES} sheets: "
            f"{', '.join(SUFFIXES)}",
            remedy="Give the folder that holds your tables, or one file.",
        )
    return given


def _check(given: Given, limit_bytes: int) -> None:
    try:
        with given.path.open("rb"):
            size = given.path.stat().st_size
    except OSError as cause:
        raise BadUpload(
            f"The file cannot be opened: {cause.strerror}.",
            where=str(given.path),
            accepted="a file that you may read",
            remedy="Look at the file's permissions.",
        ) from cause
    if size > limit_bytes:
        raise TooLarge(
            f"The file is larger than {limit_bytes:,} bytes.",
            where=str(given.path),
            remedy="Split it by wearer or year and import the parts one after the other, or raise "
            "SOLESPAN_UPLOAD_LIMIT_BYTES.",
        )
