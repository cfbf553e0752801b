"""File imports service: how do any files become rows, for the page, the command and the service?

The files of an interchange folder are taken as they are. Anything else is read as sheets, and the
tables made of these are taken like an interchange folder, so that every check stands once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass, field
from pathlib import Path

from solespan.api.clock import Clock
from solespan.api.errors import BadUpload, Refused
from solespan.api.services.importing.files.sheet_origin import SheetOrigin
from solespan.api.services.importing.files.sheet_tables import Reading, read_given, write_tables
from solespan.api.services.importing.imports import Progress, import_files
from solespan.api.services.importing.sheets.translation import Question, RowFate
from solespan.api.services.importing.uploads import Given, table_named
from solespan.api.services.interchange.report import ImportReport
from solespan.api.storage.session import Database
from solespan.forecast.frames import TABLES

__all__ = ["FileImport", "ImportChoices", "OpenQuestions", "import_given", "is_interchange"]

HEADER_BYTES = 64 * 1024


class OpenQuestions(Refused):
    """The sheets leave open what nobody answered; `questions` are in words, with their choices."""

    code = "import-questions"

    def __init__(self, questions: Sequence[Question]) -> None:
        super().__init__(
            f"The sheets leave {len(questions)} questions open, so nothing was imported.",
            where=", ".join(one.key for one in questions),
            accepted="; ".join(
                f"{one.key}: {' | '.join(value for value, _ in one.choices)}" for one in questions
            ),
            remedy="Answer each question, or take what is proposed.",
        )
        self.questions = questions
        self.extensions = {"questions": [asdict(one) for one in questions]}


@dataclass(frozen=True)
class ImportChoices:
    """What a person chose for an import.

    `answers` are those to the questions and columns of sheets. With `take_proposals` the rest is
    taken as proposed. With `keep_good_rows` the good rows are taken though others are refused.
    Without `may_consent` the sender may not write down consents, so that none is taken over.
    """

    answers: Mapping[str, str] = field(default_factory=dict)
    take_proposals: bool = False
    keep_good_rows: bool = False
    may_consent: bool = True


@dataclass(frozen=True)
class FileImport:
    """The result: the report, and for sheets how they were read and what came of each row."""

    report: ImportReport
    reading: Reading | None = None
    fates: Sequence[RowFate] = ()


def import_given(
    database: Database,
    given: Sequence[Given],
    folder: Path,
    *,
    clock: Clock,
    source: str,
    choices: ImportChoices,
    limit_bytes: int,
    rehearse: bool = False,
    progress: Progress | None = None,
) -> FileImport:
    """Import the files that were handed in.

    Parameters
    ----------
    given
        The files, as `uploads.lay_out` gives them.
    folder
        An existing folder for the tables that are made of sheets.
    source
        Where the files came from, for the record.
    rehearse
        Only say what would be done.

    Raises `BadUpload`, `TooLarge`, and `OpenQuestions` unless it only rehearses.
    """

    def take(paths: Mapping[str, Path], origin: SheetOrigin | None) -> ImportReport:
        with ExitStack() as stack:
            return import_files(
                database,
                {name: stack.enter_context(path.open("rb")) for name, path in paths.items()},
                source=source,
                today=clock.today,
                keep_good_rows=choices.keep_good_rows,
                rehearse=rehearse,
                limit_bytes=limit_bytes,
                progress=progress,
                origin=origin,
            )

    if is_interchange(given):
        return FileImport(take({f"{table_named(one.name)}.csv": one.path for one in given}, None))
    reading = read_given(database, given, choices.answers, clock)
    if reading.open_questions and not choices.take_proposals and not rehearse:
        raise OpenQuestions(reading.open_questions)
    if not rehearse and not reading.says_anything:
        raise BadUpload(
            "No row of these files could be read as a pair, a wear, a check or a job.",
            where=", ".join(one.name for one in given[:3]),
            accepted="a table with a heading for each column, one row for each thing",
            remedy="Look whether these are the right files, or say what the columns are.",
        )
    author = database.author
    by = author.actor if author else "this program"
    origin = SheetOrigin(reading, clock, by, may_consent=choices.may_consent)
    report = take(write_tables(reading.translation, folder), origin)
    return FileImport(report, reading, origin.fates_after(report))


def is_interchange(given: Sequence[Given]) -> bool:
    """Whether these are files of an interchange folder: each named and headed like its table."""
    return bool(given) and all(_is_table(one) for one in given)


def _is_table(given: Given) -> bool:
    name = table_named(given.name)
    if name is None:
        return False
    with given.path.open("rb") as stream:
        header = stream.readline(HEADER_BYTES).decode("utf-8-sig", errors="replace")
    cells = {cell.strip(' "\r\n') for cell in header.split(",")}
    return not header.strip() or bool(cells & TABLES[name].by_name.keys())
