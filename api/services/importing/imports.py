"""Imports service.

How do a folder's files, or files handed in by other ways, become rows of the database?

All or nothing by default: one refused row and nothing is written. With `keep_good_rows` the rest is
taken. Repeating an import changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import ExitStack
from datetime import date
from pathlib import Path
from typing import BinaryIO

import pandas as pd

from solespan.api.errors import BadUpload, TooLarge
from solespan.api.services.importing.drafts import Draft, read_cells
from solespan.api.services.importing.planning import Plan, make_plan, write_plan
from solespan.api.services.importing.plausibility import question_checks, question_soles
from solespan.api.services.importing.reading import read_table
from solespan.api.services.importing.reference_data import OF_PAIRS, KnownRecords, known_records
from solespan.api.services.importing.references import (
    judge_dates,
    judge_doubles,
    judge_owner_kept,
    judge_pairs_known,
    judge_wearers_known,
)
from solespan.api.services.importing.report import QUESTIONED, Counts, Finding, ImportReport
from solespan.api.services.importing.soles import judge_jobs, judge_on_a_sole, judge_soles
from solespan.api.storage.importing.bulk import conflicts_told, first_logged_on
from solespan.api.storage.importing.import_runs import find_import, import_id_of, list_imports
from solespan.api.storage.scope import name_changed
from solespan.api.storage.session import Database
from solespan.api.storage.tables.results import ImportRun
from solespan.forecast.frames import TABLES

__all__ = [
    "DEFAULT_LIMIT_BYTES",
    "find_import",
    "import_files",
    "import_folder",
    "import_id_of",
    "list_imports",
]

DEFAULT_LIMIT_BYTES = 256 * 1024 * 1024
Today = date | Callable[[str], date]
Progress = Callable[[str, int], None]
WHEN = {"wear_days": "worn_on", "checks": "checked_on"}


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

    Returns
    -------
    ImportReport
        Counts and findings; `written` is False when rows were refused and nothing was taken.

    Raises `BadUpload` or `TooLarge` when a file as a whole cannot be read; nothing is written then.
    """
    _check_names(files)
    drafts = {
        name: read_cells(
            read_table(files[f"{name}.csv"], table, limit_bytes=limit_bytes, progress=progress)
        )
        for name, table in TABLES.items()
        if f"{name}.csv" in files
    }
    for draft in drafts.values():
        judge_doubles(draft)
    day_in = today if callable(today) else lambda _zone: today
    report = ImportReport(source)
    with conflicts_told(), database.writing() as session:
        world = known_records(session, drafts, day_in)
        pair_ids = set(drafts["soles"].frame["pair_id"].dropna())
        line = _judge(world, first_logged_on(session, pair_ids))
        plans = {
            name: make_plan(world, draft, _closed(world, line) if name == "soles" else None)
            for name, draft in drafts.items()
        }
        _fill(report, drafts, plans)
        if rehearse or (report.refused and not keep_good_rows):
            return report
        report.written = True
        if report.changed:
            report.wearer_ids = write_plan(session, plans, world)
            kept = report.to_dict()
            taken = ImportRun(source=source[:2000], counts=kept["counts"], report=kept)
            session.add(taken)
            session.flush()
            name_changed(import_id=taken.import_id)
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
    """Refuse and question rows, from wearers down to what depends on soles."""
    drafts = world.drafts
    judge_wearers_known(world)
    judge_dates(world, "pairs")
    for name in OF_PAIRS:
        if name in drafts:
            judge_pairs_known(world, name)
            judge_dates(world, name)
    for name in ("soles", "bench_jobs"):
        if name in drafts:
            judge_owner_kept(world, name)
    line = judge_soles(world, first_worn)
    question_soles(world)
    for name, day in WHEN.items():
        if name in drafts:
            judge_on_a_sole(world, name, day, line)
    if "bench_jobs" in drafts:
        judge_jobs(world, line)
    if "checks" in drafts:
        judge_results(drafts["checks"])
        question_checks(world, line)
    return line


def judge_results(draft: Draft) -> None:
    """Refuse checks without a result, or with two."""
    frame = draft.frame
    measured, graded = frame["value_mm"].notna(), frame["grade"].notna()
    accepted = "exactly one of value_mm, value_iron and grade"
    draft.refuse(
        (measured & graded).to_numpy(), "grade", "both a thickness and a grade are given", accepted
    )
    draft.refuse(
        (~measured & ~graded).to_numpy(), "value_mm", "neither thickness nor grade", accepted
    )


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


def _fill(report: ImportReport, drafts: dict[str, Draft], plans: dict[str, Plan]) -> None:
    """Put counts and findings into the report, in the order of files and lines."""
    for name, draft in drafts.items():
        plan = plans[name]
        asked = {f.line for f in draft.findings if f.severity == QUESTIONED}
        report.counts[name] = Counts(
            rows=draft.rows,
            new=len(plan.new),
            updated=len(plan.updated),
            unchanged=plan.unchanged,
            refused=draft.refused,
            questioned=len(asked),
        )
        report.rows += sorted(draft.findings, key=lambda finding: finding.line)
