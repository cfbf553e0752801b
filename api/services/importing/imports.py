"""Imports service.

How do a folder's files, or files handed in by other ways, become rows of the database?

All or nothing by default: one refused row and nothing is written. With `keep_good_rows` the rest is
taken. Repeating an import changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import ExitStack, suppress
from datetime import date
from pathlib import Path
from typing import BinaryIO, Protocol

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import BadUpload, TooLarge
from solespan.api.services.importing.pair_batches import PAIR_ROWS, Taken, counts_of, take_rows
from solespan.api.services.importing.planning import Plan, make_plan, write_plan
from solespan.api.services.interchange.drafts import Draft, read_cells
from solespan.api.services.interchange.packed_rows import PackedRows
from solespan.api.services.interchange.plausibility import question_soles
from solespan.api.services.interchange.reading import joined, read_chunks
from solespan.api.services.interchange.reference_data import OF_PAIRS, KnownRecords, known_records
from solespan.api.services.interchange.references import (
    judge_dates,
    judge_doubles,
    judge_layers,
    judge_owner_kept,
    judge_pairs_known,
    judge_wearers_known,
)
from solespan.api.services.interchange.report import (
    QUESTIONED,
    REFUSED,
    Counts,
    Finding,
    ImportReport,
)
from solespan.api.services.interchange.soles import judge_jobs, judge_soles
from solespan.api.storage.importing.bulk import conflicts_told, first_logged_on, pks_by_id
from solespan.api.storage.importing.import_runs import find_import, import_id_of, list_imports
from solespan.api.storage.rack.versions import raise_data_version
from solespan.api.storage.scope import name_changed, name_import
from solespan.api.storage.session import Database
from solespan.api.storage.tables.results import ImportRun
from solespan.forecast.frames import TABLES

__all__ = [
    "DEFAULT_LIMIT_BYTES",
    "SHEETS",
    "Origin",
    "find_import",
    "import_files",
    "import_folder",
    "import_id_of",
    "list_imports",
]

DEFAULT_LIMIT_BYTES = 256 * 1024 * 1024
Today = date | Callable[[str], date]
Progress = Callable[[str, int], None]
SHEETS = "sheets"


class _NotTaken(Exception):
    """Nothing is to be written after all."""


class Origin(Protocol):
    """What the tables were made of, where a person wrote something else than these files."""

    @property
    def findings(self) -> list[Finding]:
        """Rows of the person's files that became no row of a table."""
        ...

    @property
    def assumed(self) -> list[dict[str, str]]:
        """Values that the person's files do not state."""
        ...

    def place(self, finding: Finding) -> Finding:
        """Tell a finding by the person's file and line."""
        ...

    def write_along(self, session: Session, report: ImportReport) -> None:
        """Write what else the files state, in the transaction that takes the rows."""
        ...


def import_folder(
    database: Database,
    folder: Path,
    *,
    today: Today,
    source: str = "",
    keep_good_rows: bool = False,
    limit_bytes: int = DEFAULT_LIMIT_BYTES,
    progress: Progress | None = None,
) -> ImportReport:
    """Import the CSV files of a folder; see `import_files`. The source is the folder by itself.

    Raises `BadUpload` when the folder is not there or lacks a file that must be.
    """
    if not folder.is_dir():
        raise BadUpload(
            "There is no such folder.",
            where=str(folder),
            accepted="a folder with pairs.csv and soles.csv",
            remedy="Give the path of the folder that holds the files, not of one file.",
        )
    with ExitStack() as stack:
        files = {
            path.name: stack.enter_context(_opened(path, limit_bytes))
            for path in (folder / f"{name}.csv" for name in TABLES)
            if path.is_file()
        }
        return import_files(
            database,
            files,
            source=source or str(folder),
            today=today,
            keep_good_rows=keep_good_rows,
            limit_bytes=limit_bytes,
            progress=progress,
        )


def import_files(
    database: Database,
    files: Mapping[str, BinaryIO],
    *,
    source: str,
    today: Today,
    keep_good_rows: bool = False,
    rehearse: bool = False,
    limit_bytes: int = DEFAULT_LIMIT_BYTES,
    progress: Progress | None = None,
    origin: Origin | None = None,
) -> ImportReport:
    """Import CSV files given as streams.

    Parameters
    ----------
    database : Database
        Where the rows go, in one transaction.
    files : mapping of file name to binary stream
        `pairs.csv` and `soles.csv`, and any of the other interchange files.
    source : str
        Where the files came from, for the record.
    today : date, or function of a time zone name that returns one
        The last day that can be logged; `Clock.today` gives each wearer's own.
    keep_good_rows : bool
        Take the good rows although others are refused.
    rehearse : bool
        Only say what would be done: nothing is written.
    limit_bytes : int
        Longest file.
    progress : callable, optional
        Called with a file's name and the bytes of it read so far.
    origin : Origin, optional
        What the files were made of, where a person wrote something else.

    Returns
    -------
    ImportReport
        Counts and findings; `written` is False when rows were refused and nothing was taken.

    Raises `BadUpload` or `TooLarge` when a file as a whole cannot be read; nothing is written then.
    """
    _check_names(files)
    drafts, packed = _read(files, limit_bytes, progress)
    day_in = today if callable(today) else lambda _zone: today
    report = ImportReport(source)
    with suppress(_NotTaken), conflicts_told(), database.writing() as session:
        named = set().union(*(rows.pair_ids for rows in packed.values()))
        world = known_records(session, drafts, named, day_in)
        pair_ids = set(drafts["soles"].frame["pair_id"].dropna())
        line = _judge(world, first_logged_on(session, pair_ids))
        plans = {
            name: make_plan(world, draft, _closed(world, line) if name == "soles" else None)
            for name, draft in drafts.items()
        }
        stopped = any(d.refused for d in drafts.values()) or bool(_refused_lines(origin))
        writes = not rehearse and (keep_good_rows or not stopped)
        touched = write_plan(session, plans, world) if writes else set()
        found = {}
        for name, rows in packed.items():
            found[name] = take_rows(session, world, line, rows, writes=writes, keep=keep_good_rows)
            writes &= keep_good_rows or not found[name].counts.refused
            touched |= found[name].wearer_ids
        _fill(report, drafts, plans, found)
        if origin is not None:
            _tell_by_origin(report, origin)
        if not writes:
            raise _NotTaken
        report.written = True
        if report.changed:
            report.wearer_ids = sorted(touched)
            raise_data_version(session, set(pks_by_id(session, "wearers", touched).values()))
        if origin is not None:
            origin.write_along(session, report)
        if report.changed:
            _keep_run(session, source, report)
    return report


def _check_names(files: Mapping[str, BinaryIO]) -> None:
    known = {f"{name}.csv": table for name, table in TABLES.items()}
    missing = [file for file, table in known.items() if table.must_exist and file not in files]
    unknown = [file for file in files if file not in known]
    if not missing and not unknown:
        return
    problems = [f"{file} is missing" for file in missing]
    problems += [f"{file} is not a file of the interchange folder" for file in unknown]
    raise BadUpload(
        f"The files are not complete: {'; '.join(problems)}.",
        where=", ".join(missing + unknown),
        accepted=", ".join(known) + "; pairs.csv and soles.csv must be there",
        remedy="Add the missing files; each needs at least its header row.",
    )


def _opened(path: Path, limit_bytes: int) -> BinaryIO:
    try:
        if path.stat().st_size > limit_bytes:
            raise _too_large(path.name, limit_bytes)
        return path.open("rb")
    except OSError as cause:
        raise BadUpload(
            f"The file cannot be opened: {cause.strerror}.",
            where=str(path),
            accepted="a file that you may read",
            remedy="Look at the file's permissions.",
        ) from cause


def _too_large(file: str, limit_bytes: int) -> TooLarge:
    return TooLarge(
        f"The file is larger than {limit_bytes:,} bytes.",
        where=file,
        remedy="Split the folder by wearer or year and import the parts one after the other, or "
        "raise SOLESPAN_UPLOAD_LIMIT_BYTES.",
    )


def _judge(world: KnownRecords, first_worn: dict[str, date]) -> pd.DataFrame:
    """Refuse and question rows, from wearers down to soles and jobs."""
    drafts = world.drafts
    judge_wearers_known(world)
    judge_dates(world, "pairs")
    for name in OF_PAIRS:
        if name in drafts:
            judge_pairs_known(world, name)
            judge_dates(world, name)
    for name in ("soles", "bench_jobs", "layers"):
        if name in drafts:
            judge_owner_kept(world, name)
    if "layers" in drafts:
        judge_layers(world)
    line = judge_soles(world, first_worn)
    question_soles(world)
    if "bench_jobs" in drafts:
        judge_jobs(world, line)
    return line


def _closed(world: KnownRecords, line: pd.DataFrame) -> pd.DataFrame:
    """Find stored soles that end because the files bring the next one."""
    ended = line[line["open"] & (line["place"] < 0)]
    draft = world.drafts["soles"]
    stored = world.stored["soles"].set_index("sole_id")
    rows = stored.loc[list(ended["sole_id"])].reset_index()
    rows["removed_on"] = ended["removed_on"].to_numpy()
    for sole in ended.to_dict("records"):
        place = int(sole["next_place"])
        draft.findings.append(
            Finding(
                QUESTIONED,
                draft.file,
                int(draft.lines[place]) if place >= 0 else 0,
                "fitted_on",
                str(sole["removed_on"].date()),
                f"the sole {sole['sole_id']!r} in the database had no end; "
                "taken as removed that day",
                "removed_on of the earlier sole",
            )
        )
    return rows


def _fill(
    report: ImportReport,
    drafts: dict[str, Draft],
    plans: dict[str, Plan],
    found: dict[str, Taken],
) -> None:
    """Put counts and findings into the report, in the order of files and lines."""
    for name in TABLES:
        if name in drafts:
            counts, findings = counts_of(drafts[name], plans[name]), drafts[name].findings
        elif name in found:
            counts, findings = found[name].counts, found[name].findings
        else:
            continue
        report.counts[name] = counts
        report.rows += sorted(findings, key=lambda finding: finding.line)


def _read(
    files: Mapping[str, BinaryIO], limit_bytes: int, progress: Progress | None
) -> tuple[dict[str, Draft], dict[str, PackedRows]]:
    """Read small tables as drafts, and those of wear days and checks packed."""
    drafts: dict[str, Draft] = {}
    packed: dict[str, PackedRows] = {}
    for name, table in TABLES.items():
        if f"{name}.csv" not in files:
            continue
        file = files[f"{name}.csv"]
        chunks = read_chunks(file, table, limit_bytes=limit_bytes, progress=progress)
        if name in PAIR_ROWS:
            packed[name] = PackedRows(table, chunks)
        else:
            drafts[name] = read_cells(joined(chunks))
            judge_doubles(drafts[name])
    return drafts, packed


def _keep_run(session: Session, source: str, report: ImportReport) -> None:
    """Keep that an import was taken, and name it to the history of records and the audit log."""
    kept = report.to_dict()
    taken = ImportRun(source=source[:2000], counts=kept["counts"], report=kept)
    session.add(taken)
    session.flush()
    name_import(taken.id)
    name_changed(import_id=taken.import_id)


def _refused_lines(origin: Origin | None) -> set[tuple[str, int]]:
    """Rows of the person's own file that became no row of a table."""
    found = origin.findings if origin is not None else ()
    return {(one.file, one.line) for one in found if one.severity == REFUSED}


def _tell_by_origin(report: ImportReport, origin: Origin) -> None:
    """Name the person's own rows, and count those that became no row of a table."""
    report.rows = [*origin.findings, *(origin.place(finding) for finding in report.rows)]
    report.assumed = origin.assumed
    lines = _refused_lines(origin)
    if lines:
        report.counts[SHEETS] = Counts(rows=len(lines), refused=len(lines))
