"""Import command: what does `solespan import` do?"""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import RenderableType

from solespan.api.cli.files import PIPE, write_file
from solespan.api.cli.grid import grid
from solespan.api.cli.output import Format, Out, OutputFormat, show

if TYPE_CHECKING:
    from rich.progress import TaskID

    from solespan.api.services.importing.report import ImportReport

__all__ = ["register"]

SHOWN_ROWS = 40
NOTHING_WRITTEN = 1
BAR_FROM_BYTES = 1_000_000


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("import")
    def import_(
        folder: Annotated[
            Path, typer.Argument(help="Folder with pairs.csv and soles.csv, or one ZIP of them.")
        ],
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
        form: Format = OutputFormat.TABLE,
        out: Out = PIPE,
    ) -> None:
        """Read a folder or ZIP of CSV files: all of it, or nothing and a list of errors."""
        _import(folder, keep_good_rows, report, form, out)


def _import(
    folder: Path, keep_good_rows: bool, report_path: Path | None, form: OutputFormat, out: Path
) -> None:
    from solespan.api.cli.opening import opened
    from solespan.api.clock import Clock
    from solespan.api.schemas.importing.imports import ImportTaken
    from solespan.api.services.importing.imports import import_folder, import_id_of

    with opened() as (database, settings):
        with _unpacked(folder, settings.upload_limit_bytes) as files, _progress(files) as progress:
            report = import_folder(
                database,
                files,
                source=str(folder),
                today=Clock().today,
                keep_good_rows=keep_good_rows,
                limit_bytes=settings.upload_limit_bytes,
                progress=progress,
            )
        with database.reading() as session:
            known = report.written and report.changed
            import_id = import_id_of(session, str(folder)[:2000]) if known else None
    if report_path:
        _write(report, report_path)
    if report_path != PIPE:
        taken = {"import_id": import_id, "report": report.to_dict()}
        show(taken, ImportTaken, form=form, out=out, table=lambda: _tables(report))
    if not report.written:
        raise typer.Exit(NOTHING_WRITTEN)


@contextmanager
def _unpacked(path: Path, limit_bytes: int) -> Iterator[Path]:
    """Give the folder itself, or one with what a ZIP holds."""
    from solespan.api.services.importing.uploads import lay_out

    if not path.is_file():
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="solespan-") as name, path.open("rb") as stream:
        lay_out([(path.name, stream)], Path(name), limit_bytes=limit_bytes)
        yield Path(name)


@contextmanager
def _progress(folder: Path) -> Iterator[Callable[[str, int], None] | None]:
    """Show a bar for long files, when someone is watching."""
    from rich.console import Console
    from rich.progress import Progress

    sizes = {path.name: path.stat().st_size for path in folder.glob("*.csv") if path.is_file()}
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


def _tables(report: ImportReport) -> Iterator[RenderableType]:
    from rich.text import Text

    ranked = sorted(report.rows, key=lambda finding: finding.severity != "refused")
    for finding in ranked[:SHOWN_ROWS]:
        colour = {"refused": "red", "questioned": "yellow"}.get(finding.severity, "dim")
        value = f" {finding.value!r}" if finding.value else ""
        place = f"{finding.file}, line {finding.line}" if finding.line else finding.file
        column = f", {finding.column}" if finding.column else ""
        line = Text.assemble((finding.severity, colour), f" {place}{column}{value}: {finding.why}")
        if finding.accepted:
            line.append(f" (accepted: {finding.accepted})", style="dim")
        yield line
    if len(ranked) > SHOWN_ROWS:
        yield f"... and {len(ranked) - SHOWN_ROWS:,} more; --report FILE.csv has them all"
    rows = []
    for name, c in report.counts.items():
        numbers = (c.rows, c.new, c.updated, c.unchanged, c.refused, c.questioned)
        rows.append((f"{name}.csv", *(f"{number:,}" for number in numbers)))
    headings = ("rows", "new", "updated", "unchanged", "refused", "questioned")
    yield grid(("file", *headings), rows, right=headings)
    yield _verdict(report)


def _verdict(report: ImportReport) -> str:
    if not report.written:
        return (
            f"Nothing was written: {report.refused:,} rows were refused. Correct them, or take the "
            "rest with --keep-good-rows."
        )
    if not report.changed:
        return "Nothing to change: the database already holds these rows."
    left = f" {report.refused:,} refused rows were left out." if report.refused else ""
    return f"{report.changed:,} rows were written.{left}"


def _write(report: ImportReport, path: Path) -> None:
    from solespan.api.services.importing.report import write_report

    stream = io.StringIO(newline="")
    write_report(report.rows, stream)
    write_file(path, stream.getvalue(), "--report; the import itself is done")
