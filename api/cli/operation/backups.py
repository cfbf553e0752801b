"""Backup commands: how is a database kept in a file, put back, and how is that tried out?"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from solespan.api.cli.output import note, say
from solespan.api.errors import Refused

if TYPE_CHECKING:
    from solespan.api.settings import Settings
    from solespan.api.storage.backup.dump import BackupReport

__all__ = ["register"]

LEAST_LENGTH = 12
File = Annotated[Path, typer.Argument(help="File of the backup.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("backup")(backup)
    app.command("restore")(restore)
    app.command("drill")(drill)


def backup(
    file: File,
    encrypt: Annotated[
        bool,
        typer.Option(
            "--encrypt",
            help="Ask for a passphrase. SOLESPAN_BACKUP_PASSPHRASE encrypts without asking.",
        ),
    ] = False,
    check: Annotated[
        bool, typer.Option("--check", help="Write nothing; say whether the file is whole.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace a backup that is already there.")
    ] = False,
) -> None:
    """Keep every row of every tenant in one file, while the service runs; then read it again."""
    from solespan.api.cli.opening import opened
    from solespan.api.clock import Clock
    from solespan.api.settings import load_settings
    from solespan.api.storage.backup.dump import check as check_backup
    from solespan.api.storage.backup.dump import dump

    if check:
        _tell("Whole", file, check_backup(file, _passphrase_of(file, load_settings())))
        return
    with opened(ready=False) as (database, settings):
        passphrase = _known(settings) or (_new_passphrase() if encrypt else None)
        report = dump(database, file, passphrase=passphrase, now=Clock().now(), replace=replace)
    _tell("Written, read again and equal", file, report)
    if passphrase is None:
        note("The file is not encrypted: keep it where only you can read it.")


def restore(
    file: File,
    replace: Annotated[
        bool, typer.Option("--replace", help="Delete what the database holds, in one step.")
    ] = False,
) -> None:
    """Put a backup back into an empty database of either kind; stop the service first."""
    from solespan.api.cli.opening import owned
    from solespan.api.storage.backup.restore import restore as restore_backup

    with owned() as (database, settings):
        report = restore_backup(
            database, file, passphrase=_passphrase_of(file, settings), replace=replace
        )
    _tell("Restored and compared row by row", file, report)


def drill(
    file: Annotated[
        Path | None,
        typer.Argument(help="Backup to try; without one, a new backup of the database is made."),
    ] = None,
    into: Annotated[
        str | None,
        typer.Option("--into", help="Address of an empty database; default a SQLite file."),
    ] = None,
) -> None:
    """Try a restore: into a database of its own, compared row by row. Yours is not changed."""
    from solespan.api.cli.opening import opened
    from solespan.api.clock import Clock
    from solespan.api.storage.backup.dump import dump
    from solespan.api.storage.backup.restore import compare
    from solespan.api.storage.backup.restore import restore as restore_backup
    from solespan.api.storage.session import open_database

    began = time.monotonic()
    with (
        opened(ready=False) as (database, settings),
        tempfile.TemporaryDirectory(prefix="solespan-drill-") as folder,
    ):
        if into is not None and open_database(into).engine.url == database.engine.url:
            raise Refused(
                "A drill does not write into the database itself.",
                where="--into",
                accepted="the address of another, empty database",
                remedy="Leave the option out, or name an empty database.",
            )
        if file is None:
            file, passphrase = Path(folder) / "drill.backup", _known(settings)
            dump(database, file, passphrase=passphrase, now=Clock().now())
        else:
            passphrase = _passphrase_of(file, settings)
        scratch = open_database(into or f"sqlite:///{folder}/scratch.sqlite3")
        try:
            restore_backup(scratch, file, passphrase=passphrase)
            report = compare(scratch, file, passphrase)
        finally:
            scratch.close()
    for table, rows in report.rows.items():
        if rows:
            say(f"{table}: {rows:,} rows equal")
    _tell("The drill succeeded", file, report)
    note(f"It took {time.monotonic() - began:.1f} s.")


def _tell(what: str, file: Path, report: BackupReport) -> None:
    tenants = report.rows["tenants"]
    say(
        f"{what}: {sum(report.rows.values()):,} rows of {tenants:,} "
        f"tenant{'s' * (tenants != 1)} in "
        f"{max(1, round(report.size_bytes / 1000)):,} kB ({file}), made at {report.made_at}."
    )


def _known(settings: Settings) -> str | None:
    given = settings.backup_passphrase
    return given.get_secret_value() if given is not None else None


def _passphrase_of(file: Path, settings: Settings) -> str | None:
    """Return the passphrase of a file; a terminal is asked where no setting has it."""
    from solespan.api.storage.backup.dump import is_encrypted

    if not is_encrypted(file):
        return None
    known = _known(settings)
    if known is None and sys.stdin.isatty():
        return str(typer.prompt("Passphrase of the backup", hide_input=True))
    return known


def _new_passphrase() -> str:
    given = str(typer.prompt("Passphrase", hide_input=True, confirmation_prompt=True))
    if len(given) < LEAST_LENGTH:
        raise Refused(
            "The passphrase is too short.",
            where="--encrypt",
            accepted=f"at least {LEAST_LENGTH} characters",
            remedy="Choose a longer one, such as five words.",
        )
    return given
