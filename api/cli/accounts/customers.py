"""Customers commands: which commands hand out, or erase, all that is kept of a customer?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["register"]

Wearer = Annotated[str, typer.Argument(help="Id of the customer (wearer).")]


def register(app: typer.Typer) -> None:
    """Add the commands."""

    @app.command("customer-export")
    def customer_export(
        wearer: Wearer,
        to: Annotated[
            Path | None, typer.Option(help="File to write; it must not be there yet.")
        ] = None,
    ) -> None:
        """Write all records of a customer as JSON, to a file or the terminal."""
        from solespan.api.cli.accounts.customer_runs import run_export

        run_export(wearer, to)

    @app.command("customer-erase")
    def customer_erase(
        wearer: Wearer,
        yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    ) -> None:
        """Erase a customer and all their records, for good."""
        from solespan.api.cli.accounts.customer_runs import run_erase

        run_erase(wearer, yes=yes)
