"""Sheet tables service.

Which interchange tables do a person's sheets hold, beside what the database knows already?

The choices of last time count where no newer one is given. What the database knows is kept where a
sheet is silent: a default never replaces a value that somebody corrected.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import BadUpload, Refused, TooLarge
from solespan.api.services.importing.exports import cells_of
from solespan.api.services.importing.files.rest_files import without_reasons
from solespan.api.services.importing.files.sheet_notes import put_notes
from solespan.api.services.importing.sheets.preview import preview_of
from solespan.api.services.importing.sheets.sheet import MAX_CELLS, Sheet
from solespan.api.services.importing.sheets.translate import answers_for, read_sheets, translate
from solespan.api.services.importing.sheets.translation import KnownNames, Question, Translation
from solespan.api.services.importing.uploads import Given
from solespan.api.services.interchange.formulas import guard, unguard
from solespan.api.services.shop_choices import read_shop_choices
from solespan.api.storage.importing.bulk import stored_rows
from solespan.api.storage.importing.mappings import find_mapping, fitted_days, known_labels
from solespan.api.storage.session import Database
from solespan.forecast.frames import TABLES, Table

__all__ = ["NOTES", "SHEET_LIMIT_BYTES", "Reading", "read_given", "write_tables"]

SHEET_LIMIT_BYTES = 12 * 1024 * 1024
NOTES = "notes"
KEPT_TABLES = ("wearers", "pairs", "soles", "wear_days", "bench_jobs", "layers")


@dataclass(frozen=True)
class Reading:
    """Sheets as they are read: the tables, and the choices under which they are."""

    sheets: list[Sheet]
    translation: Translation
    fingerprint: str
    answers: dict[str, str]
    known_before: bool

    @property
    def open_questions(self) -> list[Question]:
        """Questions that nobody answered, now or an earlier time."""
        return [one for one in self.translation.questions if one.key not in self.answers]

    @property
    def says_anything(self) -> bool:
        """Whether a row of a table came of the sheets, or could come of one of their columns."""
        rows = any(len(frame) for frame in self.translation.tables.values())
        return rows or any(use.target not in ("note", "ignore") for use in self.translation.columns)

    @property
    def choices(self) -> dict[str, str]:
        """Every choice that holds, for the next time."""
        columns = {one.key: one.target for one in self.translation.columns}
        return columns | {one.key: one.answer for one in self.translation.questions}


def read_given(
    database: Database, given: Sequence[Given], answers: Mapping[str, str], clock: Clock
) -> Reading:
    """Read files as sheets under the answers given, and else those of last time.

    Raises `BadUpload`, `TooLarge`, and `Refused` for an answer that is no choice.
    """
    sheets = _sheets_of(given)
    fingerprint = answers_for(sheets)
    with database.reading() as session:
        kept = find_mapping(session, fingerprint)
        chosen = kept | dict(answers)
        known = _known_names(session)
        today = clock.today(known.shop_time_zone or "UTC")
        translation = translate(sheets, chosen, known, today)
        _refuse_unknown_choices(translation, answers)
        _keep_stored(session, translation)
        put_notes(session, translation)
        translation.preview = preview_of(translation.tables)
    return Reading(sheets, translation, fingerprint, chosen, bool(kept))


def write_tables(translation: Translation, folder: Path) -> dict[str, Path]:
    """Write the tables as files of the interchange; return the path of each file by name."""
    paths: dict[str, Path] = {}
    for name, table in TABLES.items():
        frame = translation.tables.get(name)
        if (frame is None or frame.empty) and not table.must_exist:
            continue
        if frame is None:
            frame = pd.DataFrame(columns=[c.name for c in table.stored], dtype=object)
        texts = {c.name for c in table.columns if c.kind in ("id", "text")}
        path = folder / f"{name}.csv"
        with path.open("w", encoding="utf-8", newline="") as stream:
            out = csv.writer(stream)
            out.writerow(frame.columns)
            for row in frame.itertuples(index=False):
                cells = zip(frame.columns, row, strict=True)
                out.writerow(_cell(cell, column, as_text=column in texts) for column, cell in cells)
        paths[path.name] = path
    return paths


def _cell(cell: object, column: str, *, as_text: bool) -> str:
    """Write a cell; only notes keep their lines, so that any other row is one line of its file."""
    text = "" if cell is None or cell != cell else str(cell)  # noqa: PLR0124
    text = text if column == NOTES else " ".join(text.split())
    return guard(text) if as_text else text


def _sheets_of(given: Sequence[Given]) -> list[Sheet]:
    size = sum(one.path.stat().st_size for one in given)
    if size > SHEET_LIMIT_BYTES:
        raise TooLarge(
            f"The sheets are larger than {SHEET_LIMIT_BYTES // 1024 // 1024} MB.",
            where=", ".join(one.name for one in given[:3]),
            accepted=f"sheets of up to {SHEET_LIMIT_BYTES // 1024 // 1024} MB together",
            remedy="Split them by year or by customer, or send the files of the interchange "
            "folder, which may be larger.",
        )
    sheets: list[Sheet] = []
    for one in given:
        sheets += _sheets_in(one)
        if sum(len(s.rows) * len(s.rows[0]) for s in sheets if s.rows) > MAX_CELLS:
            raise TooLarge(
                f"The sheets have more than {MAX_CELLS:,} cells together.",
                where=one.name,
                accepted=f"up to {MAX_CELLS:,} cells",
                remedy="Split them by year or by customer, and import the parts one by one.",
            )
    sheets = [without_reasons(sheet) for sheet in sheets if any(any(r) for r in sheet.rows)]
    if not sheets:
        raise BadUpload(
            "The files hold no row.",
            where=", ".join(one.name for one in given[:3]),
            accepted="a table with a heading for each column",
            remedy="Look whether these are the right files.",
        )
    return sheets


def _sheets_in(given: Given) -> list[Sheet]:
    try:
        return read_sheets(given.name, given.path.read_bytes())
    # What a mangled workbook makes the libraries below raise has no common class.
    except (ArithmeticError, EOFError, LookupError, OSError, RuntimeError, ValueError) as cause:
        raise BadUpload(
            "The file cannot be read; it may be damaged.",
            where=given.name,
            accepted="CSV, XLSX or ODS",
            remedy="Open it in a spreadsheet program and save it again.",
        ) from cause


def _known_names(session: Session) -> KnownNames:
    wearers, pairs = known_labels(session)
    zone = read_shop_choices(session)[0].time_zone
    one_wearer = next(iter(wearers)) if len(wearers) == 1 else None
    return KnownNames(wearers, pairs, zone, one_wearer, fitted_days(session))


def _refuse_unknown_choices(translation: Translation, answers: Mapping[str, str]) -> None:
    offered = {one.key: (one.header, one.choices) for one in translation.columns}
    offered |= {one.key: (one.words, one.choices) for one in translation.questions}
    for key, answer in answers.items():
        words, choices = offered.get(key, ("", ()))
        if choices and answer not in (value for value, _ in choices):
            raise Refused(
                f"The answer {answer[:60]!r} is no choice here: {words}",
                where=key,
                accepted=", ".join(value for value, _ in choices),
                remedy="Choose one of these.",
            )


def _keep_stored(session: Session, translation: Translation) -> None:
    """Put what is stored where a sheet is silent, and assume nothing of such a row."""
    assumed = {(one.table, one.id, one.column) for one in translation.assumed}
    stored_ids: set[tuple[str, str]] = set()
    for name in KEPT_TABLES:
        frame = translation.tables.get(name)
        if frame is None or frame.empty:
            continue
        table = TABLES[name]
        by = "pair_id" if name == "wear_days" else table.key[0]
        stored = stored_rows(session, name, by, set(frame[by]))
        if stored.empty:
            continue
        key = list(table.key)
        texts = pd.DataFrame(
            {c.name: [*map(unguard, cells_of(stored[c.name], c))] for c in table.stored}
        )
        beside = frame[key].merge(texts, on=key, how="left").set_axis(frame.index)
        known = beside.drop(columns=key).notna().any(axis=1)
        if len(key) == 1:
            stored_ids |= {(name, one) for one in frame.loc[known, key[0]]}
        for column in frame.columns.difference([*key, *_either_unit(frame, table)]):
            guessed = pd.Series(
                [(name, row_id, column) in assumed for row_id in frame[key[0]]], index=frame.index
            )
            silent = known & (guessed | frame[column].isna() | (frame[column] == ""))
            frame.loc[silent, column] = beside.loc[silent, column]
    translation.assumed = [
        one for one in translation.assumed if (one.table, one.id) not in stored_ids
    ]


def _either_unit(frame: pd.DataFrame, table: Table) -> set[str]:
    """Columns of which a file fills one: these stay as the sheet has them."""
    both = [{c.name, c.iron_of} for c in table.columns if c.iron_of and c.name in frame]
    return set().union(*both)
