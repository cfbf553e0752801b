"""Import report at the terminal: what became of each file, and of each row in doubt?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from rich.console import RenderableType

from solespan.api.cli.grid import grid

if TYPE_CHECKING:
    from solespan.api.services.interchange.report import ImportReport

__all__ = ["report_lines"]

SHOWN_ROWS = 40


def report_lines(report: ImportReport, *, dry_run: bool) -> Iterator[RenderableType]:
    """Tell what became of the rows: findings, a table of counts, and a verdict."""
    from rich.text import Text

    from solespan.api.services.importing.imports import SHEETS
    from solespan.forecast.frames import TABLES

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
        label = "rows not read" if name == SHEETS else f"{name}.csv" if name in TABLES else name
        rows.append((label, *(f"{number:,}" for number in numbers)))
    headings = ("rows", "new", "updated", "unchanged", "refused", "questioned")
    yield grid(("file", *headings), rows, right=headings)
    yield Text(_verdict(report, dry_run=dry_run))


def _verdict(report: ImportReport, *, dry_run: bool) -> str:
    if dry_run and not report.refused:
        return f"Nothing was written, as you asked: {report.changed:,} rows would be."
    if not report.written and not report.refused:
        return "Nothing was written."
    if not report.written:
        return (
            f"Nothing was written: {report.refused:,} rows were refused. Correct them, or take the "
            "rest with --keep-good-rows."
        )
    if not report.changed:
        return "Nothing to change: the database already holds these rows."
    left = f" {report.refused:,} refused rows were left out." if report.refused else ""
    return f"{report.changed:,} rows were written.{left}"
