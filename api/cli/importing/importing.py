"""Import command: what does `solespan import` do?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

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
        folder: Annotated[Path, typer.Argument(help="Folder with pairs.csv and soles.csv.")],
        keep_good_rows: Annotated[
            bool, typer.Option("--keep-good-rows", help="Take the rest when rows are refused.")
        ] = False,
        report: Annotated[
            Path | None, typer.Option(help="Write every refused and questioned row to this CSV.")
        ] = None,
    ) -> None:
        """Read a folder of CSV files: all of it, or nothing and a list of errors."""
        _import(folder, keep_good_rows=keep_good_rows, report_path=report)


def _import(folder: Path, *, keep_good_rows: bool, report_path: Path | None) -> None:
    from solespan.api.cli.opening import opened
    from solespan.api.clock import Clock
    from solespan.api.services.importing.imports import import_folder

    with opened() as (database, settings), _progress(folder) as progress:
        report = import_folder(
            database,
            folder,
            today=Clock().today,
            keep_good_rows=keep_good_rows,
            limit_bytes=settings.upload_limit_bytes,
            progress=progress,
        )
    _print(report)
    if report_path:
        _write(report, report_path)
    if not report.written:
        raise typer.Exit(NOTHING_WRITTEN)


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


def _print(report: ImportReport) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console()
    counts = Table()
    counts.add_column("file", no_wrap=True)
    for heading in ("rows", "new", "updated", "unchanged", "refused", "questioned"):
        counts.add_column(heading, justify="right")
    for name, c in report.counts.items():
        numbers = (c.rows, c.new, c.updated, c.unchanged, c.refused, c.questioned)
        counts.add_row(f"{name}.csv", *(f"{number:,}" for number in numbers))
    ranked = sorted(report.rows, key=lambda finding: finding.severity != "refused")
    for finding in ranked[:SHOWN_ROWS]:
        # As text, never as markup: the cells are someone else's.
        colour = {"refused": "red", "questioned": "yellow"}.get(finding.severity, "dim")
        value = f" {finding.value!r}" if finding.value else ""
        place = f"{finding.file}, line {finding.line}" if finding.line else finding.file
        column = f", {finding.column}" if finding.column else ""
        line = Text.assemble((finding.severity, colour), f" {place}{column}{value}: {finding.why}")
        if finding.accepted:
            line.append(f" (accepted: {finding.accepted})", style="dim")
        console.print(line, soft_wrap=True)
    if len(ranked) > SHOWN_ROWS:
        console.print(f"... and {len(ranked) - SHOWN_ROWS:,} more; --report FILE.csv has them all")
    console.print(counts)
    console.print(Text(_verdict(report)))


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
    from solespan.api.errors import Refused
    from solespan.api.services.importing.report import write_report

    try:
        with path.open("w", encoding="utf-8", newline="") as stream:
            write_report(report.rows, stream)
    except OSError as cause:
        raise Refused(
            f"The report cannot be written: {cause.strerror}.",
            where=str(path),
            remedy="Choose another file with --report; the import itself is done.",
        ) from cause
