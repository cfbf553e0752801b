"""Report service: what did an import take, refuse and question, row by row?"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from typing import Any, TextIO

from solespan.api.services.interchange.formulas import guard

__all__ = ["REFUSED", "Counts", "Finding", "ImportReport", "write_report"]

REFUSED = "refused"
QUESTIONED = "questioned"
NOTED = "noted"
SEVERITIES = (REFUSED, QUESTIONED, NOTED)
KEPT_IN_DATABASE = 1000


@dataclass(frozen=True)
class Finding:
    """One thing about one row.

    `severity` is `refused` (cannot be true, not taken), `questioned` (odd but possible, taken) or
    `noted` (nothing to do). `line` counts from 1, and the header is line 1. A row that spans
    several lines is named by its first.
    """

    severity: str
    file: str
    line: int
    column: str
    value: str
    why: str
    accepted: str = ""


@dataclass
class Counts:
    """How many rows of one file became what; `rows` is all of them."""

    rows: int = 0
    new: int = 0
    updated: int = 0
    unchanged: int = 0
    refused: int = 0
    questioned: int = 0


@dataclass
class ImportReport:
    """The result of one import.

    `written` tells whether the good rows are in the database now: always with `keep_good_rows`,
    else only when nothing was refused. `new` and `updated` count what is, or would have been,
    written. `assumed` lists values that nothing stated, by table, id and column.
    """

    source: str
    written: bool = False
    counts: dict[str, Counts] = field(default_factory=dict)
    rows: list[Finding] = field(default_factory=list)
    assumed: list[dict[str, str]] = field(default_factory=list)
    wearer_ids: list[str] = field(default_factory=list)

    def number(self, severity: str) -> int:
        """Return how many findings have this severity."""
        return sum(finding.severity == severity for finding in self.rows)

    @property
    def refused(self) -> int:
        """Number of rows that were not taken."""
        return sum(counts.refused for counts in self.counts.values())

    @property
    def changed(self) -> int:
        """Number of rows that are new or updated."""
        return sum(counts.new + counts.updated for counts in self.counts.values())

    def to_dict(self, most_rows: int = KEPT_IN_DATABASE) -> dict[str, Any]:
        """Return a dict of JSON values, with at most `most_rows` findings, refused ones first."""
        ranked = sorted(self.rows, key=lambda finding: SEVERITIES.index(finding.severity))
        return {
            "source": self.source,
            "written": self.written,
            "counts": {name: asdict(counts) for name, counts in self.counts.items()},
            "rows": [asdict(finding) for finding in ranked[:most_rows]],
            "rows_left_out": max(0, len(ranked) - most_rows),
            "assumed": self.assumed[:most_rows],
        }


def write_report(findings: Iterable[Finding], stream: TextIO) -> None:
    """Write findings as CSV; no cell can be taken for a formula by a spreadsheet."""
    out = csv.writer(stream)
    out.writerow(["severity", "file", "line", "column", "value", "why", "accepted"])
    for f in findings:
        texts = [guard(text) for text in (f.column, f.value, f.why, f.accepted)]
        out.writerow([f.severity, guard(f.file), f.line or "", *texts])
