"""Exports service: how do the stored rows leave, so that an import elsewhere gives the same rows?

As a folder of CSV files, the same as one ZIP (the backup that an import takes), as one workbook, or
as Parquet. Thicknesses are in millimetres with every digit that is stored. In CSV and XLSX no text
can be taken for a formula by a spreadsheet; the import undoes what guards it.
"""

from __future__ import annotations

import csv
import io
import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Collection, Iterator
from pathlib import Path
from typing import Any, BinaryIO, TextIO

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, Refused
from solespan.api.services.accounts.security_log import note
from solespan.api.services.context import AppContext
from solespan.api.services.importing.data_package import DESCRIPTOR, package_text
from solespan.api.services.importing.parquet import write_parquet
from solespan.api.services.importing.workbook import write_workbook
from solespan.api.services.interchange.formulas import guard
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.scope import count_as_change
from solespan.api.storage.session import Database
from solespan.forecast.frames import TABLES, Column, Table

__all__ = [
    "FILE_FORMATS",
    "FOLDER_FORMATS",
    "cells_of",
    "export_file",
    "export_folder",
    "note_export",
    "write_rows",
]

FOLDER_FORMATS = ("csv", "parquet")
Wearers = Collection[str] | None
Tables = Iterator[tuple[Table, pd.DataFrame]]


def export_folder(
    database: Database,
    folder: Path,
    *,
    form: str = "csv",
    wearer_ids: Wearers = None,
    replace: bool = False,
) -> dict[str, int]:
    """Write six files of a format of `FOLDER_FORMATS`; CSV also gets a description of its columns.

    Each file is written completely or not at all. Returns the number of rows of each. Raises
    `Conflict` when one of the files is there and `replace` is not set, `Refused` when the folder
    cannot be written.
    """
    counts: dict[str, int] = {}
    write = {"csv": _write_csv, "parquet": write_parquet}[form]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        described = [DESCRIPTOR] if form == "csv" else []
        _check_free(folder, [*(f"{name}.{form}" for name in TABLES), *described], replace=replace)
        with database.reading() as session:
            for table, frame in _tables(session, wearer_ids):
                _in_one_step(folder / f"{table.name}.{form}", lambda at: write(table, frame, at))  # noqa: B023
                counts[f"{table.name}.{form}"] = len(frame)
        for name in described:
            _in_one_step(folder / name, lambda at: at.write_text(package_text(), "utf-8"))
    except OSError as cause:
        raise Refused(
            f"The folder cannot be written: {cause.strerror}.",
            where=str(cause.filename or folder),
            accepted="a folder that you may write to, on a disk with space",
            remedy="Choose another folder.",
        ) from cause
    return counts


def export_file(database: Database, form: str, stream: BinaryIO) -> None:
    """Write everything as one file of a format of `FILE_FORMATS`.

    Raises `TooLarge` where a sheet is too short for a table, `Refused` without the library.
    """
    with database.reading() as session:
        FILE_FORMATS[form](_tables(session, None), stream)


def note_export(ctx: AppContext) -> None:
    """Let the log of changes say that everything was handed out, where it says by whom."""
    if ctx.database.author is not None:
        with ctx.database.writing():
            count_as_change()
    note("export", what="everything")


def _tables(session: Session, wearer_ids: Wearers) -> Tables:
    for name, table in TABLES.items():
        yield table, load_rows(session, name, by="wearer_id", ids=wearer_ids)


def _write_zip(tables: Tables, stream: BinaryIO) -> None:
    """Write the backup: the CSV files and their description."""
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for table, frame in tables:
            with (
                archive.open(f"{table.name}.csv", "w", force_zip64=True) as raw,
                io.TextIOWrapper(raw, "utf-8", newline="") as text,
            ):
                write_rows(table, frame, text)
        archive.writestr(DESCRIPTOR, package_text())


def _write_parquet_zip(tables: Tables, stream: BinaryIO) -> None:
    with (
        tempfile.TemporaryDirectory(prefix="solespan-") as name,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive,
    ):
        for table, frame in tables:
            path = Path(name) / f"{table.name}.parquet"
            write_parquet(table, frame, path)
            with path.open("rb") as source, archive.open(path.name, "w", force_zip64=True) as into:
                shutil.copyfileobj(source, into)


FILE_FORMATS: dict[str, Callable[[Tables, BinaryIO], None]] = {
    "zip": _write_zip,
    "xlsx": write_workbook,
    "parquet": _write_parquet_zip,
}


def _in_one_step(path: Path, write: Callable[[Path], object]) -> None:
    part = path.with_name(f"{path.name}.part")
    write(part)
    with part.open("rb") as written:
        os.fsync(written.fileno())
    part.replace(path)


def _check_free(folder: Path, names: list[str], *, replace: bool) -> None:
    there = [name for name in names if (folder / name).exists()]
    if there and not replace:
        raise Conflict(
            f"The folder already holds {', '.join(there)}.",
            where=str(folder),
            accepted="a folder without files of these names",
            remedy="Choose another folder, or replace them with --replace.",
        )


def _write_csv(table: Table, frame: pd.DataFrame, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        write_rows(table, frame, stream)


def write_rows(table: Table, frame: pd.DataFrame, stream: TextIO) -> None:
    """Write one table as CSV."""
    out = csv.writer(stream)
    out.writerow([column.name for column in table.stored])
    out.writerows(zip(*(cells_of(frame[c.name], c) for c in table.stored), strict=True))


def cells_of(values: pd.Series[Any], column: Column) -> list[str]:
    """Write stored values as the cells of a file."""
    if column.kind == "date":
        days = values.to_numpy().astype("datetime64[D]").astype(str)
        return ["" if day == "NaT" else day for day in days.tolist()]
    if column.kind in ("number", "integer"):
        return ["" if value != value else _digits(value) for value in values.tolist()]  # noqa: PLR0124
    if column.kind == "flag":
        return ["true" if value else "false" for value in values.tolist()]
    return ["" if value is None or value != value else guard(value) for value in values.tolist()]  # noqa: PLR0124


def _digits(value: float) -> str:
    """Write a number so that reading it gives the same bits."""
    return str(int(value)) if value == int(value) else repr(value)
