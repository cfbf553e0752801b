"""Command output: how does an answer become a table, JSON or CSV, on the terminal or in a file?

JSON is the document that `/v1` publishes, made by the same model. CSV has a row for each item of
that document. A table shows what a person needs.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_args

import typer
from rich.console import Console, RenderableType
from rich.text import Text

from solespan.api.cli.files import PIPE, write_file
from solespan.api.cli.grid import grid

if TYPE_CHECKING:
    from pydantic import BaseModel

__all__ = [
    "Format",
    "Out",
    "OutputFormat",
    "note",
    "page_of",
    "pick",
    "say",
    "show",
    "show_rows",
    "table_cell",
    "terminal",
]

UNWATCHED_WIDTH = 200  # characters of a line that goes to a pipe or a file
LONGEST_CELL = 200  # characters of a text in a table


class OutputFormat(StrEnum):
    """Formats of an answer."""

    TABLE = "table"
    JSON = "json"
    CSV = "csv"


Format = Annotated[
    OutputFormat, typer.Option("--format", "-f", help="table, json (as /v1 answers) or csv.")
]
Out = Annotated[
    Path, typer.Option("--out", "-o", help="File to write the answer to; - = standard output.")
]


def terminal(stream: Any = None) -> Console:
    """Return the console of a stream; one that nobody watches gets lines that are long enough."""
    console = Console(file=stream, highlight=False)
    if not console.is_terminal and "COLUMNS" not in console._environ:  # noqa: SLF001 - as rich asks
        console = Console(file=stream, highlight=False, width=UNWATCHED_WIDTH)
    return console


def say(text: str) -> None:
    """Print one sentence, never as markup."""
    terminal().print(text, markup=False, soft_wrap=True)


def note(text: str) -> None:
    """Print a remark to standard error, so that a pipe gets the answer alone."""
    typer.echo(text, err=True)


def pick(model: type[BaseModel], row: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a model publishes of a row."""
    return {name: row[name] for name in model.model_fields if name in row}


def page_of(page: Any, rows: Iterable[Mapping[str, Any]], after: str | None = None) -> Any:
    """Make the document of a list: its rows and what follows, or a bare list of rows."""
    items = [pick(_item_of(page, "items"), row) for row in rows]
    fields = getattr(page, "model_fields", {})
    return ({"items": items} | ({"next": after} if "next" in fields else {})) if fields else items


def show_rows(
    page: Any,
    rows: Sequence[Mapping[str, Any]],
    columns: Mapping[str, str],
    *,
    form: OutputFormat,
    out: Path,
    limit: int = 0,
    key: Sequence[str] = ("id",),
    spare: Sequence[str] = (),
    empty: str = "Nothing is kept here yet.",
) -> None:
    """Write the rows of a list; `columns` are headings and the fields that a table shows.

    A narrow terminal leaves out headings of `spare`. Where there are more rows than `limit`, a
    remark says so. `key` names the fields by which the next page goes on.
    """
    from solespan.api.schemas.cursor import cursor_of

    shown = rows[:limit] if limit else rows
    more = len(shown) < len(rows)

    def table() -> Iterable[RenderableType]:
        cells = [[table_cell(row[name]) for name in columns.values()] for row in shown]
        yield grid(tuple(columns), cells, spare=spare) if cells else empty

    after = cursor_of([shown[-1][name] for name in key]) if more else None
    show(page_of(page, shown, after), page, form=form, out=out, table=table)
    if more:
        note(f"Only the first {limit:,} rows: --limit gives more, other options narrow the list.")


def table_cell(value: Any) -> Any:
    """Write a value as a table shows it: an instant to the minute, a long text on one line."""
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M}"
    if isinstance(value, list | tuple):
        return ", ".join(str(one) for one in value)
    if isinstance(value, str) and ("\n" in value or len(value) > LONGEST_CELL):
        line = value.replace("\n", " / ")
        return line if len(line) <= LONGEST_CELL else f"{line[:LONGEST_CELL]} …"
    if isinstance(value, dict):
        return ", ".join(f"{name} {table_cell(one)}" for name, one in value.items())
    return value


def show(
    answer: Any,
    model: Any,
    *,
    form: OutputFormat,
    out: Path,
    table: Callable[[], Iterable[RenderableType]],
    rows: str = "items",
) -> None:
    """Write an answer in the format asked for; `rows` names the list of it that CSV has.

    `model` is the published model of the answer, or a list of one. `table` yields what a person
    sees.
    """
    if form == OutputFormat.TABLE:
        if out == PIPE:
            _print(terminal(), table())
            return
        text = io.StringIO()
        _print(terminal(text), table())
        write_file(out, text.getvalue())
    else:
        plain = _published(model, answer)
        write = _json_text if form == OutputFormat.JSON else partial(_csv_text, model, rows=rows)
        write_file(out, write(plain))
    if out != PIPE:
        note(f"Written to {out}.")


def _print(console: Console, parts: Iterable[RenderableType]) -> None:
    whole = not console.is_terminal  # a pipe gets each sentence as one line
    for part in parts:
        console.print(part, markup=False, soft_wrap=whole and isinstance(part, str | Text))


def _published(model: Any, answer: Any) -> Any:
    from pydantic import TypeAdapter

    adapter = TypeAdapter(model)
    return adapter.dump_python(adapter.validate_python(answer), mode="json", exclude_unset=True)


def _json_text(plain: Any) -> str:
    return json.dumps(plain, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def _csv_text(model: Any, plain: Any, *, rows: str) -> str:
    """Write rows as CSV: empty = unknown, an object or a list as JSON, no text as a formula."""
    found = plain if isinstance(plain, list) else plain.get(rows, [plain])
    names = list(_item_of(model, rows).model_fields)
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([_cell(row.get(name)) for name in names] for row in found)
    return stream.getvalue()


def _cell(value: Any) -> str:
    from solespan.api.services.interchange.formulas import guard

    if value is None:
        return ""
    if isinstance(value, str):
        return guard(value)
    return json.dumps(value, ensure_ascii=False)


def _item_of(model: Any, rows: str) -> type[BaseModel]:
    """Return the model of one row: of a list, of the named list of a document, or of it whole."""
    fields = getattr(model, "model_fields", {})
    inner = get_args(fields[rows].annotation if rows in fields else model)
    item: type[BaseModel] = inner[0] if inner else model
    return item
