"""Customer commands at work: what do the commands about a customer's record do and print?"""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import typer

from solespan.api.cli.opening import by_terminal, serving
from solespan.api.errors import Conflict, Refused
from solespan.api.services.accounts.customer_record import (
    customer_record,
    erase_customer,
    hand_out,
    refuse_unconfirmed,
)

__all__ = ["run_erase", "run_export"]


def run_export(wearer_id: str, path: Path | None) -> None:
    """Write a customer's record."""
    with serving() as services:
        signed = by_terminal(services.database, "customer-export", wearer_id=wearer_id)
        record = hand_out(replace(services, database=signed), wearer_id)
    text = json.dumps(record, ensure_ascii=False, indent=1)
    if path is None:
        typer.echo(text)
        return
    try:
        # Nobody but the account that runs this may read what is personal.
        number = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise Conflict(
            f"{path} is there already.", where="--to", remedy="Name a file that is not there."
        ) from None
    except OSError as cause:
        raise Refused(
            f"{path} cannot be written: {cause.strerror}.",
            where="--to",
            remedy="Name a file in a folder that is there.",
        ) from cause
    with os.fdopen(number, "w", encoding="utf-8") as file:
        file.write(text + "\n")
    typer.echo(f"Written to {path}.")


def run_erase(wearer_id: str, *, yes: bool) -> None:
    """Erase a customer after asking."""
    with serving() as services:
        record = customer_record(services, wearer_id, photographs=False)
        rows = sum(len(rows) for rows in record["held"].values())
        if not yes:
            typed = typer.prompt(
                f"{rows:,} entries go for good. Type the id {wearer_id} to confirm",
                default="",
                show_default=False,
            )
            refuse_unconfirmed(wearer_id, typed)
        signed = replace(services, database=by_terminal(services.database, "customer-erase"))
        erased = erase_customer(signed, wearer_id)
    for table, count in erased["rows"].items():
        typer.echo(f"{table}: {count:,}")
    typer.echo("Erased. Copies of the database that you made still hold the customer.")
    if not erased["file_written_anew"]:
        typer.echo(
            "Deleted bytes may stay in free space for a time. On PostgreSQL, the server's vacuum "
            "ends that. On SQLite, erase another customer while no other program uses the file."
        )
