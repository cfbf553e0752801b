"""Restoring a backup at the terminal: how is it put back, and what is asked first?"""

from __future__ import annotations

from functools import partial
from pathlib import Path

import typer

from solespan.api.cli.output import OutputFormat, show
from solespan.api.errors import BadUpload

__all__ = ["restore"]


def restore(path: Path, *, yes: bool, dry_run: bool, form: OutputFormat, out: Path) -> None:
    """Restore a backup; ask where records would be replaced, unless `yes` says so already."""
    from solespan.api.cli.importing.import_report import report_lines
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.importing.imports import ImportTaken
    from solespan.api.services.importing.backups import WouldReplace, restore_backup
    from solespan.api.storage.importing.import_runs import import_id_of

    if not path.is_file():
        raise BadUpload("There is no such file.", where=str(path), accepted="a backup, one ZIP")
    with serving("import --backup") as services:
        try:
            report, _ = restore_backup(services, path, replace=yes, rehearse=dry_run)
        except WouldReplace as asked:
            typer.echo(asked.what, err=True)
            typer.confirm("Replace them?", abort=True, err=True)
            report, _ = restore_backup(services, path, replace=True)
        with services.database.reading() as session:
            kept = report.written and report.changed
            import_id = import_id_of(session, report.source) if kept else None
    taken = {"import_id": import_id, "report": report.to_dict()}
    lines = partial(report_lines, report, dry_run=dry_run)
    show(taken, ImportTaken, form=form, out=out, table=lines)
