"""Import command: what does `solespan import` do?"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from solespan.api.cli.files import PIPE, write_file
from solespan.api.cli.output import Format, Out, OutputFormat, show

if TYPE_CHECKING:
    from rich.progress import TaskID

    from solespan.api.clock import Clock
    from solespan.api.services.importing.files.file_imports import FileImport, ImportChoices
    from solespan.api.services.importing.uploads import Given
    from solespan.api.services.interchange.report import ImportReport
    from solespan.api.settings import Settings
    from solespan.api.storage.session import Database

__all__ = ["register"]

NOTHING_WRITTEN = 1
BAR_FROM_BYTES = 1_000_000


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("import")
    def import_(
        path: Annotated[
            Path,
            typer.Argument(
                metavar="FILE_OR_FOLDER",
                help="A table as CSV, XLSX or ODS, a ZIP, or a folder of files.",
            ),
        ],
        mapping: Annotated[
            Path | None, typer.Option(help="JSON file with answers: an object of key and choice.")
        ] = None,
        answer: Annotated[
            list[str] | None,
            typer.Option(metavar="KEY=CHOICE", help="Answer one question, or place one column."),
        ] = None,
        day_first: Annotated[
            bool | None,
            typer.Option("--day-first/--month-first", help="Order of dates such as 01.10.2025."),
        ] = None,
        dry_run: Annotated[
            bool, typer.Option("--dry-run", help="Show what would be written, and write nothing.")
        ] = False,
        yes: Annotated[
            bool, typer.Option("--yes", help="Take what is proposed, and write without asking.")
        ] = False,
        keep_good_rows: Annotated[
            bool, typer.Option("--keep-good-rows", help="Take the rest when rows are refused.")
        ] = False,
        report: Annotated[
            Path | None,
            typer.Option(
                "--report",
                help="Write every refused and questioned row to this CSV; - = standard output.",
            ),
        ] = None,
        rest: Annotated[
            Path | None, typer.Option(help="Folder for the rows of your sheets to correct.")
        ] = None,
        backup: Annotated[
            bool, typer.Option("--backup", help="Restore a backup that solespan export wrote.")
        ] = False,
        form: Format = OutputFormat.TABLE,
        out: Out = PIPE,
    ) -> None:
        """Read any table of shoes: all of it, or nothing and a list of errors.

        A folder with pairs.csv and soles.csv is taken as it is. Anything else is shown as it is
        read, and what is open is asked. With --backup the file is a backup, which comes back as a
        whole; --yes replaces records that differ.
        """
        if backup:
            from solespan.api.cli.importing.restoring import restore

            restore(path, yes=yes, dry_run=dry_run, form=form, out=out)
            return
        from solespan.api.cli.importing.import_dialogue import answers_given
        from solespan.api.cli.importing.import_report import report_lines
        from solespan.api.schemas.importing.imports import ImportTaken
        from solespan.api.services.importing.files.file_imports import ImportChoices

        answers = answers_given(mapping, answer or [])
        choices = ImportChoices(answers, take_proposals=yes, keep_good_rows=keep_good_rows)
        done, import_id = _import(path, choices, day_first=day_first, dry_run=dry_run)
        if report:
            _write(done.report, report)
        if rest and done.reading:
            _write_rest(done, rest)
        if report != PIPE:
            taken = {"import_id": import_id, "report": done.report.to_dict()}
            lines = partial(report_lines, done.report, dry_run=dry_run)
            show(taken, ImportTaken, form=form, out=out, table=lines)
        if not done.report.written and (done.report.refused or not dry_run):
            raise typer.Exit(NOTHING_WRITTEN)


def _import(
    path: Path, choices: ImportChoices, *, day_first: bool | None, dry_run: bool
) -> tuple[FileImport, str | None]:
    """Take the files; return what became of them, and the id of the import that was kept."""
    from solespan.api.cli.importing.import_dialogue import agree
    from solespan.api.cli.opening import by_terminal, opened
    from solespan.api.clock import Clock
    from solespan.api.services.importing.files.file_imports import is_interchange
    from solespan.api.services.importing.files.local_files import files_at
    from solespan.api.services.importing.imports import import_id_of

    with (
        opened() as (database, settings),
        files_at(path, limit_bytes=settings.upload_limit_bytes) as (given, folder),
        _progress(given) as progress,
    ):
        take = _taker(
            by_terminal(database, "import"), settings, Clock(), given, folder, str(path), progress
        )
        if is_interchange(given):
            done = take(choices, rehearse=dry_run)
        else:
            agreed, done = agree(take, choices, day_first=day_first, dry_run=dry_run)
            done = done if agreed is None else take(agreed, rehearse=False)
        if not (done.report.written and done.report.changed):
            return done, None
        with database.reading() as session:
            return done, import_id_of(session, str(path)[:2000])


def _taker(
    database: Database,
    settings: Settings,
    clock: Clock,
    given: list[Given],
    folder: Path,
    source: str,
    progress: Callable[[str, int], None] | None,
) -> Callable[..., FileImport]:
    from solespan.api.services.importing.files.file_imports import import_given

    def take(choices: ImportChoices, *, rehearse: bool) -> FileImport:
        return import_given(
            database,
            given,
            folder,
            clock=clock,
            source=source,
            choices=choices,
            limit_bytes=settings.upload_limit_bytes,
            rehearse=rehearse,
            progress=progress,
        )

    return take


@contextmanager
def _progress(given: list[Given]) -> Iterator[Callable[[str, int], None] | None]:
    """Show a bar for long files, when someone is watching."""
    from rich.console import Console
    from rich.progress import Progress

    sizes = {one.name: one.path.stat().st_size for one in given}
    console = Console(stderr=True)
    if sum(sizes.values()) < BAR_FROM_BYTES or not console.is_terminal:
        yield None
        return
    with Progress(console=console, transient=True) as bar:
        tasks: dict[str, TaskID] = {}

        def show(file: str, read_bytes: int) -> None:
            if file not in tasks:
                tasks[file] = bar.add_task(file, total=sizes.get(file))
            bar.update(tasks[file], completed=read_bytes)

        yield show


def _write(report: ImportReport, path: Path) -> None:
    from solespan.api.services.interchange.report import write_report

    stream = io.StringIO(newline="")
    write_report(report.rows, stream)
    write_file(path, stream.getvalue(), "--report; the import itself is done")


def _write_rest(done: FileImport, folder: Path) -> None:
    from solespan.api.errors import Refused
    from solespan.api.services.importing.files.rest_files import write_rest

    try:
        folder.mkdir(parents=True, exist_ok=True)
        sheets = done.reading.sheets if done.reading else []
        for one in write_rest(sheets, done.fates, folder):
            typer.echo(f"{folder / str(one['path'])}: {one['rows']} rows to correct")
    except OSError as cause:
        raise Refused(
            f"The rows to correct cannot be written: {cause.strerror}.",
            where=str(folder),
            remedy="Choose another folder with --rest; the import itself is done.",
        ) from cause
