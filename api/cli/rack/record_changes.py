"""Commands of any record: `edit record`, `delete record`, `put-back` and `list history`.

A booking has its own commands `edit booking` and `delete booking`; `undo` takes any of it back.
"""

from __future__ import annotations

from typing import Annotated, Any

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import Yes, find_group, find_lists
from solespan.api.cli.output import Format, Out, OutputFormat, say, show
from solespan.api.errors import Refused

__all__ = ["register"]

ORDERS = "bench_orders"
Table = Annotated[str, typer.Argument(help="wearers, pairs, soles, wear_days, checks, ...")]
AnyTable = Annotated[str, typer.Argument(help="As above, or bench_orders for bookings.")]
Key = Annotated[str, typer.Argument(help="Its id, or its columns in order: oxford/2026-06-10.")]
Order = Annotated[str, typer.Argument(help="The booking's id, as `solespan bench` shows it.")]
Set = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="COLUMN=VALUE", help="A new value; no value empties it."),
]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    edit = find_group(app, "edit", "Change what is kept.")
    edit.command("record")(edit_one)
    edit.command("booking")(edit_booking)
    delete = find_group(app, "delete", "Delete what is kept.")
    delete.command("record")(delete_one)
    delete.command("booking")(delete_booking)
    app.command("put-back")(put_back)
    find_lists(app).command("history")(history)


def edit_one(
    table: Table,
    key: Key,
    values: Set = None,
    pair: Annotated[
        str | None,
        typer.Option("--pair", help="Move a wear day or a check to this pair: its id or name."),
    ] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Change one record of any table, or move it to the pair where it belongs."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.cli.rack.records import show_records
    from solespan.api.services.rack import record_forms, records

    if not values and pair is None:
        raise _nothing("--set COLUMN=VALUE, or --pair PAIR")
    with serving("edit record") as services, services.database.writing() as session:
        asked = record_forms.key_of(table, key)
        if values:
            seen = record_forms.record_seen(session, table, asked)
            fields = {c.name: field for field, c in record_forms.fields_of(table).items()}
            given = _values(values, fields)
            with typed_options(dict.fromkeys((*fields.values(), ""), "--set")):
                typed = seen["values"] | given | {"sure": "true"}
                done = record_forms.edit_record(services, session, table, asked, typed)
            asked = record_forms.key_of(table, "/".join(done["key"].values()))
        if pair is not None:
            done = record_forms.move_record(services, session, table, asked, {"pair": pair})
            asked = record_forms.key_of(table, "/".join(done["key"].values()))
        row = records.read(session, table, asked)
    show_records(table, [row], form, out, f"The changes of {key} are kept.")


def edit_booking(order: Order, values: Set = None) -> None:
    """Change a booking."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import OrderChange
    from solespan.api.services.bench.order_records import edit_order, order_seen

    if not values:
        raise _nothing("--set COLUMN=VALUE")
    fields = {name: name for name in OrderChange.model_fields} | {"price_minor": "price"}
    with serving("edit booking") as services, services.database.writing() as session:
        seen = order_seen(session, order)
        given = _values(values, {"price": "price", **fields})
        with typed_options(dict.fromkeys((*fields.values(), ""), "--set")):
            edit_order(services, session, {"order_id": order}, seen["values"] | given)
    say(f"The changes of {order} are kept.")


def delete_one(table: Table, key: Key, yes: Yes = False) -> None:
    """Delete one record of any table, and what belongs to it."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.rack.record_forms import delete_record, key_of, record_seen

    with serving("delete record") as services:
        asked = key_of(table, key)
        with services.database.reading() as session:
            seen = record_seen(session, table, asked)
        typed = _agreed(key, seen, yes=yes)
        with services.database.writing() as session:
            delete_record(services, session, table, asked, typed)
    say(_deleted(table, key))


def delete_booking(order: Order, yes: Yes = False) -> None:
    """Delete a booking, with its papers and photographs."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.bench.order_records import delete_order, order_seen

    with serving("delete booking") as services:
        with services.database.reading() as session:
            seen = order_seen(session, order)
        typed = _agreed(order, seen, yes=yes)
        with services.database.writing() as session:
            delete_order(services, session, {"order_id": order}, typed)
    say(_deleted(ORDERS, order))


def put_back(
    table: AnyTable,
    key: Key,
    line: Annotated[
        int | None,
        typer.Option("--line", help="Make it what it was before this line of its history."),
    ] = None,
) -> None:
    """Bring a deleted record back, or make one what it was before a change."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.rack import history
    from solespan.api.services.rack.record_forms import key_of

    with serving("put-back") as services:
        with services.database.writing() as session:
            if line is None:
                history.restore(services, session, table, key)
            elif table == ORDERS:
                raise Refused(
                    "A booking is made what it was by hand.",
                    where="--line",
                    remedy="Correct it: solespan edit booking. See it: solespan list history",
                )
            else:
                asked = key_of(table, key)
                history.put_back(services, session, table, asked, line, versions=None)
        services.refitter.wake(refit=True)
    say(f"{key} is {'back' if line is None else 'as it was before'}.")


def history(table: AnyTable, key: Key, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List how a record was changed in the last 30 days, newest first; also a deleted one."""
    from solespan.api.cli.grid import grid
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.rack.revisions import RecordHistory
    from solespan.api.services.rack.history import record_history
    from solespan.api.services.rack.record_forms import key_of
    from solespan.dashboards.pages.rack.record import history_lines

    asked = {"order_id": key} if table == ORDERS else key_of(table, key)
    with serving() as services, services.database.reading() as session:
        told = record_history(session, table, asked)
    lines = history_lines(told["entries"], list(asked))
    cells = [[one["line"], one["when"], one["what"], "; ".join(one["changed"])] for one in lines]
    show(
        told,
        RecordHistory,
        form=form,
        out=out,
        table=lambda: [grid(("line", "at (UTC)", "what", "values"), cells)],
    )


def _agreed(key: str, seen: dict[str, Any], *, yes: bool) -> dict[str, str]:
    """Ask whether a record goes, unless that is said already; return the form that deletes it."""
    below = ", ".join(f"{rows} {name}" for name, rows in seen["below"].items())
    if not yes:
        typer.confirm(f"Delete {key}{f' with {below}' if below else ''}?", abort=True)
    return {"sure": "true", "version": str(seen["row"]["version"])}


def _deleted(table: str, key: str) -> str:
    return f"Deleted: {key}. To bring it back within 30 days: solespan put-back {table} {key}"


def _nothing(accepted: str) -> Refused:
    return Refused("Nothing to change was said.", where="the options", accepted=accepted)


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
