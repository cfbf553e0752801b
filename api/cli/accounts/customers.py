"""Commands that hand out, or erase, all that is kept of a customer."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from solespan.api.errors import Conflict, Refused

__all__ = ["register"]

Wearer = Annotated[str, typer.Argument(help="Id of the customer (wearer).")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("customer-export")(customer_export)
    app.command("customer-erase")(customer_erase)


def customer_export(
    wearer: Wearer,
    to: Annotated[
        Path | None, typer.Option(help="File to write; it must not be there yet.")
    ] = None,
) -> None:
    """Write all records of a customer as JSON, to a file or the terminal."""
    from solespan.api.cli.opening import by_terminal, serving
    from solespan.api.services.accounts.customer_record import hand_out

    with serving() as services:
        signed = by_terminal(services.database, "customer-export", wearer_id=wearer)
        record = hand_out(replace(services, database=signed), wearer)
    text = json.dumps(record, ensure_ascii=False, indent=1)
    if to is None:
        typer.echo(text)
        return
    try:
        # Nobody but the account that runs this may read what is personal.
        number = os.open(to, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise Conflict(
            f"{to} is there already.", where="--to", remedy="Name a file that is not there."
        ) from None
    except OSError as cause:
        raise Refused(
            f"{to} cannot be written: {cause.strerror}.",
            where="--to",
            remedy="Name a file in a folder that is there.",
        ) from cause
    with os.fdopen(number, "w", encoding="utf-8") as file:
        file.write(text + "\n")
    typer.echo(f"Written to {to}.")


def customer_erase(
    wearer: Wearer,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
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
