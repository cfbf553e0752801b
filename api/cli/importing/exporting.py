"""Export command: what does `solespan export` do?"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Annotated

import typer

from solespan.api.cli.files import PIPE, write_file
from solespan.api.cli.output import note, say
from solespan.api.errors import Conflict, Refused

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("export")(export)


def export(
    to: Annotated[
        Path,
        typer.Argument(
            help="Folder to write to, or a file that ends in .zip or .xlsx; - = a pipe."
        ),
    ],
    form: Annotated[
        str | None,
        typer.Option("--format", "-f", help="csv, zip, xlsx or parquet. Default: by the name."),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace files that are already there.")
    ] = False,
    backup: Annotated[
        bool, typer.Option("--backup", help="Write the backup: plans, orders and settings too.")
    ] = False,
) -> None:
    """Write everything that was logged: CSV files, one ZIP of them, a workbook, or Parquet.

    With --backup all that was entered goes into one ZIP, which solespan import --backup restores.
    """
    from solespan.api.cli.opening import serving
    from solespan.api.services.importing import backups, exports

    if backup and form not in (None, "zip"):
        raise Refused("A backup is a ZIP.", where="--format", remedy="Leave --format away.")
    known = ("csv", "zip", "xlsx", "parquet")
    ending = to.suffix.lower().removeprefix(".")
    if form is None:
        of_name = ending if ending in ("zip", "xlsx") else "csv"
        form = "zip" if backup or to == PIPE else of_name
    if form not in known or (to == PIPE and form not in exports.FILE_FORMATS):
        raise Refused(
            f"{form!r} is no format of an export{' to a pipe' if to == PIPE else ''}.",
            where="--format",
            accepted=", ".join(exports.FILE_FORMATS if to == PIPE else known),
            remedy="Choose one of these.",
        )
    with serving("export") as services:
        if form in exports.FOLDER_FORMATS and to != PIPE:
            counts = exports.export_folder(services.database, to, form=form, replace=replace)
            exports.note_export(services)
            for file, rows in counts.items():
                say(f"{file}: {rows:,} rows")
            return
        if to != PIPE and to.exists() and not replace:
            raise Conflict(
                f"{to} is there already.", where="TO", remedy="Name another, or add --replace."
            )
        content = io.BytesIO()
        if backup:
            backups.write_backup(services, content)
        else:
            exports.export_file(services.database, form, content)
        exports.note_export(services)
    write_file(to, content.getvalue(), "TO")
    if to != PIPE:
        note(f"Written to {to}.")
