"""Commands of any record: `edit record` and `delete record`; `undo` takes either back."""

from __future__ import annotations

from typing import Annotated

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import Yes, find_group
from solespan.api.cli.output import Format, Out, OutputFormat, say
from solespan.api.errors import Refused

__all__ = ["register"]

Table = Annotated[str, typer.Argument(help="wearers, pairs, soles, wear_days, checks, ...")]
Key = Annotated[str, typer.Argument(help="Its id, or its columns in order: oxford/2026-06-10.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    find_group(app, "edit", "Change what is kept.").command("record")(edit_one)
    find_group(app, "delete", "Delete what is kept.").command("record")(delete_one)


def edit_one(
    table: Table,
    key: Key,
    values: Annotated[
        list[str],
        typer.Option("--set", metavar="COLUMN=VALUE", help="A new value; no value empties it."),
    ],
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Change one record of any table."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.cli.rack.records import show_records
    from solespan.api.services.rack import record_forms, records

    with serving("edit record") as services, services.database.writing() as session:
        asked = record_forms.key_of(table, key)
        seen = record_forms.record_seen(session, table, asked)
        fields = {c.name: field for field, c in record_forms.fields_of(table).items()}
        given = _values(values, fields)
        with typed_options(dict.fromkeys((*fields.values(), ""), "--set")):
            typed = seen["values"] | given | {"sure": "true"}
            done = record_forms.edit_record(services, session, table, asked, typed)
        row = records.read(
            session, table, record_forms.key_of(table, "/".join(done["key"].values()))
        )
    show_records(table, [row], form, out, f"The changes of {key} are kept.")


def delete_one(table: Table, key: Key, yes: Yes = False) -> None:
    """Delete one record of any table, and what belongs to it."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.rack.record_forms import delete_record, key_of, record_seen

    with serving("delete record") as services:
        asked = key_of(table, key)
        with services.database.reading() as session:
            seen = record_seen(session, table, asked)
        below = ", ".join(f"{rows} {name}" for name, rows in seen["below"].items())
        if not yes:
            typer.confirm(f"Delete {key}{f' with {below}' if below else ''}?", abort=True)
        typed = {"sure": "true", "version": str(seen["row"]["version"])}
        with services.database.writing() as session:
            delete_record(services, session, table, asked, typed)
    say(f"Deleted: {key}. To bring it back within 30 days: solespan undo")


def _values(pairs: list[str], fields: dict[str, str]) -> dict[str, str]:
    given = {name.strip(): value.strip() for name, _, value in (p.partition("=") for p in pairs)}
    unknown = sorted(set(given) - set(fields))
    if unknown:
        raise Refused(
            f"There is no column {unknown[0]!r} to change.",
            where="--set",
            accepted=", ".join(fields),
            remedy=f"Write for example --set {next(iter(fields))}=...",
        )
    return {fields[name]: value for name, value in given.items()}
