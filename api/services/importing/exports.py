"""Exports service: how do the stored rows become the interchange folder again?

Thicknesses are written in millimetres with every digit that is stored, so that importing the
folder elsewhere gives the same rows. No text can be taken for a formula by a spreadsheet; the
import undoes what guards it.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Collection
from pathlib import Path
from typing import Any, TextIO

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, Refused
from solespan.api.services.interchange.formulas import guard
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.session import Database
from solespan.forecast.frames import TABLES, Column, Table

__all__ = ["cells_of", "export_folder", "write_table"]


def export_folder(
    database: Database,
    folder: Path,
    *,
    wearer_ids: Collection[str] | None = None,
    replace: bool = False,
) -> dict[str, int]:
    """Write all six files, each completely or not at all; return the number of rows of each.

    Raises `Conflict` when one of the files is there and `replace` is not set, `Refused` when the
    folder cannot be written.
    """
    counts: dict[str, int] = {}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _check_free(folder, replace=replace)
        with database.reading() as session:
            for name, table in TABLES.items():
                path = folder / f"{name}.csv"
                part = path.with_suffix(".csv.part")
                with part.open("w", encoding="utf-8", newline="") as stream:
                    counts[path.name] = write_table(session, table, stream, wearer_ids)
                    stream.flush()
                    os.fsync(stream.fileno())
                part.replace(path)
    except OSError as cause:
        raise Refused(
            f"The folder cannot be written: {cause.strerror}.",
            where=str(cause.filename or folder),
            accepted="a folder that you may write to, on a disk with space",
            remedy="Choose another folder.",
        ) from cause
    return counts


def _check_free(folder: Path, *, replace: bool) -> None:
    there = [f"{name}.csv" for name in TABLES if (folder / f"{name}.csv").exists()]
    if there and not replace:
        raise Conflict(
            f"The folder already holds {', '.join(there)}.",
            where=str(folder),
            accepted="a folder without files of these names",
            remedy="Choose another folder, or replace them with --replace.",
        )


def write_table(
    session: Session, table: Table, stream: TextIO, wearer_ids: Collection[str] | None = None
) -> int:
    """Write one table as CSV, all rows or those of some wearers; return the number of rows."""
    frame = load_rows(session, table.name, by="wearer_id", ids=wearer_ids)
    out = csv.writer(stream)
    out.writerow([column.name for column in table.stored])
    out.writerows(zip(*(cells_of(frame[c.name], c) for c in table.stored), strict=True))
    return len(frame)


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
