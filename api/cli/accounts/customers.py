"""Commands that hand out, or erase, all that is kept of a customer."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import Yes
from solespan.api.cli.output import note

__all__ = ["register"]

Wearer = Annotated[str, typer.Argument(help="Id of the customer (wearer).")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("customer-export")(customer_export)
    app.command("customer-erase")(customer_erase)


def customer_export(
    wearer: Wearer,
    out: Annotated[
        Path,
        typer.Option(
            "--out", "-o", help="File to write; it must not be there yet; - = standard output."
        ),
    ] = PIPE,
) -> None:
    """Write all records of a customer as JSON, to a file or the terminal."""
    from solespan.api.cli.files import write_file
    from solespan.api.cli.opening import by_terminal, serving
    from solespan.api.services.accounts.customer_record import hand_out

    with serving() as services:
        signed = by_terminal(services.database, "customer-export", wearer_id=wearer)
        record = hand_out(replace(services, database=signed), wearer)
    # Nobody but the account that runs this may read what is personal.
    write_file(out, json.dumps(record, ensure_ascii=False, indent=1) + "\n", private=True)
    if out != PIPE:
        note(f"Written to {out}.")


def customer_erase(wearer: Wearer, yes: Yes = False) -> None:
    """Erase a customer and all their records, for good."""
    from solespan.api.cli.opening import by_terminal, serving
    from solespan.api.services.accounts.customer_record import (
        customer_record,
        erase_customer,
        refuse_unconfirmed,
    )

    with serving() as services:
        record = customer_record(services, wearer, photographs=False)
        rows = sum(len(rows) for rows in record["held"].values())
        if not yes:
            typed = typer.prompt(
                f"{rows:,} entries go for good. Type the id {wearer} to confirm",
                default="",
                show_default=False,
            )
            refuse_unconfirmed(wearer, typed)
        signed = replace(services, database=by_terminal(services.database, "customer-erase"))
        erased = erase_customer(signed, wearer)
    for table, count in erased["rows"].items():
        typer.echo(f"{table}: {count:,}")
    typer.echo("Erased. Copies of the database that you made still hold the customer.")
    if not erased["file_written_anew"]:
        typer.echo(
            "Deleted bytes may stay in free space for a time. On PostgreSQL, the server's vacuum "
            "ends that. On SQLite, erase another customer while no other program uses the file."
        )
