"""Export command: what does `solespan export` do?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("export")
    def export(
        folder: Annotated[Path, typer.Argument(help="Folder to write the files to.")],
        replace: Annotated[
            bool, typer.Option("--replace", help="Replace files that are already there.")
        ] = False,
    ) -> None:
        """Write everything that was logged as a folder of CSV files, thickness in millimetres."""
        from solespan.api.cli.opening import opened
        from solespan.api.services.importing.exports import export_folder

        with opened() as (database, _settings):
            counts = export_folder(database, folder, replace=replace)
        for file, rows in counts.items():
            typer.echo(f"{file}: {rows:,} rows")
