"""Commands of records: `list wearers`, `list pairs` and the other tables of the log."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import MOST_LISTED, Limit, Wearer, find_lists
from solespan.api.cli.output import Format, Out, OutputFormat, page_of, show, show_rows

__all__ = ["register", "show_records"]

TABLES = {
    "wearers": "wearers",
    "pairs": "pairs",
    "soles": "soles",
    "wears": "wear_days",
    "checks": "checks",
    "jobs": "bench_jobs",
    "layers": "layers",
}
Since = Annotated[str | None, typer.Option("--since", help="First day, YYYY-MM-DD.")]
Until = Annotated[str | None, typer.Option("--until", help="Last day, YYYY-MM-DD.")]
OfPair = Annotated[str | None, typer.Option("--pair", help="Only this pair: its id or its name.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = find_lists(app)
    for word, table in TABLES.items():
        group.command(word, help=f"List {word}, in the order of their keys.")(_command(table))


def _command(table: str) -> Callable[..., None]:
    if table == "wearers":

        def of_all(
            limit: Limit = MOST_LISTED, form: Format = OutputFormat.TABLE, out: Out = PIPE
        ) -> None:
            _list(table, {}, (None, None), limit, form, out)

        return of_all
    if table == "pairs":

        def of_wearer(
            wearer: Wearer = None,
            limit: Limit = MOST_LISTED,
            form: Format = OutputFormat.TABLE,
            out: Out = PIPE,
        ) -> None:
            _list(table, {"wearer_id": wearer}, (None, None), limit, form, out)

        return of_wearer

    def of_pair(
        wearer: Wearer = None,
        pair: OfPair = None,
        since: Since = None,
        until: Until = None,
        limit: Limit = MOST_LISTED,
        form: Format = OutputFormat.TABLE,
        out: Out = PIPE,
    ) -> None:
        equal = {"wearer_id": wearer, "pair_id": pair}
        _list(table, equal, (since, until), limit, form, out)

    return of_pair


def _list(
    table: str,
    equal: Mapping[str, str | None],
    span: tuple[str | None, str | None],
    limit: int,
    form: OutputFormat,
    out: Path,
) -> None:
    from solespan.api.cli.opening import serving
    from solespan.api.cli.options import read_day
    from solespan.api.schemas.rack.records import RECORDS
    from solespan.api.services.planning.rack import known_wearer
    from solespan.api.services.rack.pair_names import pair_named
    from solespan.api.services.rack.records import list_records

    given = {name: value for name, value in equal.items() if value is not None}
    with serving() as services, services.database.reading() as session:
        today = services.clock.today()
        days = [
            None if text is None else (RECORDS[table].day, read_day(text, today, option))
            for text, option in zip(span, ("--since", "--until"), strict=True)
        ]
        if "wearer_id" in given:
            known_wearer(session, given["wearer_id"])
        if "pair_id" in given:
            given["pair_id"] = pair_named(session, given["pair_id"])
        rows = list_records(
            session, table, equal=given, since=days[0], until=days[1], limit=limit + 1
        )
    columns = {
        c.name: c.name
        for c in RECORDS[table].table.stored
        if c.required or any(row[c.name] is not None for row in rows)
    }
    record = RECORDS[table]
    show_rows(
        record.page,
        rows,
        columns,
        form=form,
        out=out,
        limit=limit,
        key=record.table.key,
        spare=[c.name for c in record.table.stored if c.name in columns and not c.required],
    )


def show_records(
    table: str,
    rows: Sequence[Mapping[str, Any]],
    form: OutputFormat,
    out: Path,
    said: str,
) -> None:
    """Write records of one table, or only a sentence about them where a table was asked for."""
    from solespan.api.schemas.rack.records import RECORDS

    page = RECORDS[table].page
    show(page_of(page, rows), page, form=form, out=out, table=lambda: [said])
