"""Import dialogue: what does the command ask in a terminal, and what does it say where none is?"""

from __future__ import annotations

import json
import shlex
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from solespan.api.errors import Refused

if TYPE_CHECKING:
    from solespan.api.services.importing.files.file_imports import FileImport, ImportChoices
    from solespan.api.services.importing.files.sheet_tables import Reading
    from solespan.api.services.importing.sheets.translation import Question

__all__ = ["agree", "answers_given"]

SHOWN_LINES = 10
SHOWN_ROWS = 20
MOST_ROUNDS = 10


def answers_given(mapping: Path | None, pairs: Sequence[str]) -> dict[str, str]:
    """Read answers from a file and from options; an option counts more. Raises `Refused`."""
    answers = _of_file(mapping) if mapping else {}
    for pair in pairs:
        key, sign, choice = pair.partition("=")
        if not sign:
            raise Refused(
                f"The answer {pair!r} has no equals sign.",
                where="--answer",
                accepted="KEY=CHOICE",
                remedy="Take key and choice from the question.",
            )
        answers[key] = choice
    return answers


def agree(
    take: Callable[..., FileImport],
    choices: ImportChoices,
    *,
    day_first: bool | None,
    dry_run: bool,
) -> tuple[ImportChoices | None, FileImport]:
    """Rehearse, ask what is open, and show what would be written.

    Returns the choices under which to write (None = write nothing) and the last rehearsal. Raises
    `Refused` where something is open and nobody can be asked.
    """
    read = take(choices, rehearse=True)
    choices, read = _in_order(take, choices, read, day_first)
    watched = sys.stdin.isatty() and sys.stdout.isatty()
    for _ in range(MOST_ROUNDS if watched and not choices.take_proposals else 0):
        questions = _reading(read).open_questions
        if not questions:
            break
        answers = {one.key: _asked(one) for one in questions}
        choices = replace(choices, answers={**choices.answers, **answers})
        read = take(choices, rehearse=True)
    _show(read)
    if dry_run or choices.take_proposals:
        return (None if dry_run else choices), read
    if not watched:
        raise _unanswered(_reading(read).open_questions)
    if read.report.refused and not choices.keep_good_rows:
        take_half = typer.confirm(f"{read.report.refused} rows are refused. Take the others?")
        return (replace(choices, keep_good_rows=True) if take_half else None), read
    agreed = typer.confirm(f"Write {read.report.changed} rows?", default=True)
    return (choices if agreed else None), read


def _reading(read: FileImport) -> Reading:
    if read.reading is None:
        raise TypeError("an interchange folder is not read as sheets")
    return read.reading


def _in_order(
    take: Callable[..., FileImport],
    choices: ImportChoices,
    read: FileImport,
    day_first: bool | None,
) -> tuple[ImportChoices, FileImport]:
    """Answer every question on the order of dates, where the command line says it."""
    from solespan.api.services.importing.sheets.cells.dates import DAY_FIRST, MONTH_FIRST

    if day_first is None:
        return choices, read
    order = DAY_FIRST if day_first else MONTH_FIRST
    asked = [q.key for q in _reading(read).translation.questions if _is_choice(order, q)]
    if not asked:
        return choices, read
    choices = replace(choices, answers=dict.fromkeys(asked, order) | dict(choices.answers))
    return choices, take(choices, rehearse=True)


def _is_choice(answer: str, question: Question) -> bool:
    return answer in (value for value, _ in question.choices)


def _asked(question: Question) -> str:
    typer.echo(f"\n{question.words}")
    values = [value for value, _ in question.choices]
    for number, (_, words) in enumerate(question.choices, start=1):
        typer.echo(f"  {number}  {words}")
    default = values.index(question.answer) + 1 if question.answer in values else 1
    number = 0
    while not 1 <= number <= len(values):
        number = typer.prompt(f"Number, 1 to {len(values)}", default=default, type=int)
    return values[number - 1]


def _show(read: FileImport) -> None:
    """Print how the sheets are read, what is assumed, and what came of the rows."""
    reading = _reading(read).translation
    typer.echo("Columns")
    for use in reading.columns:
        mark = "" if use.sure else "  (in doubt)"
        typer.echo(f"  {use.header or '(no heading)'}: {use.words}  [{use.key}]{mark}")
    for name, lines in reading.preview.items():
        if not lines:
            continue
        typer.echo(f"\n{name}: {len(reading.tables[name])} rows")
        for line in lines[:SHOWN_LINES]:
            typer.echo(f"  {line}")
    _show_assumed_and_left(read)


def _show_assumed_and_left(read: FileImport) -> None:
    from solespan.api.services.importing.files.reading_summary import no_row
    from solespan.api.services.importing.files.sheet_notes import NOTES_CUT
    from solespan.api.services.importing.sheets.translation import TAKEN

    reading = _reading(read).translation
    counted: dict[str, int] = {}
    for assumed in reading.assumed:
        counted[assumed.words] = counted.get(assumed.words, 0) + 1
    if counted:
        typer.echo("\nAssumed")
    for words, times in counted.items():
        typer.echo(f"  {words} ({times})")
    if reading.notes:
        typer.echo(f"\nNotes: {len(reading.notes)} cells of free text go to the notes")
    if reading.notes_cut:
        typer.echo(f"  {NOTES_CUT.format(reading.notes_cut)}")
    left = [fate for fate in read.fates if fate.fate != TAKEN and not no_row(fate)]
    if left:
        typer.echo("\nNot taken")
    for fate in left[:SHOWN_ROWS]:
        why = "; ".join(problem.words for problem in fate.problems) or fate.why
        typer.echo(f"  {fate.place.words}: {fate.fate}. {why}")
    if len(left) > SHOWN_ROWS:
        typer.echo(f"  ... and {len(left) - SHOWN_ROWS:,} more")
    typer.echo("")


def _unanswered(questions: Sequence[Question]) -> Refused:
    """Say each question in words, and the flag that answers it."""
    from solespan.api.services.importing.sheets.cells.dates import DAY_FIRST

    lines = []
    for one in questions:
        flags = " or ".join(
            f"--answer {shlex.quote(f'{one.key}={value}')} ({words})"
            for value, words in one.choices
        )
        order = "--day-first or --month-first, or " if _is_choice(DAY_FIRST, one) else ""
        lines.append(f"{one.words} Answer: {order}{flags}")
    lines.append("Write the rows above? Answer: --yes")
    return Refused(
        "Nothing was written: nobody is at a terminal to answer.",
        where="; ".join(one.key for one in questions) or "the last question",
        accepted="\n    ".join(["", *lines]),
        remedy="Give the flags, or a file of answers with --mapping. With --yes what is proposed "
        "is taken.",
    )


def _of_file(path: Path) -> dict[str, str]:
    try:
        answers = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        answers = None
    if not isinstance(answers, dict) or not all(isinstance(a, str) for a in answers.values()):
        raise Refused(
            "The file of answers cannot be read.",
            where=str(path),
            accepted='a JSON object of key and choice, such as {"key": "choice"}',
            remedy="Run the command with --dry-run and take keys and choices from there.",
        )
    return answers
