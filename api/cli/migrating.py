"""Migrate command: what does `solespan migrate` do?"""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("migrate")
    def migrate(
        yes: Annotated[
            bool, typer.Option("--yes", help="Go on where the new version deletes rows.")
        ] = False,
    ) -> None:
        """Bring the database up to date; make a backup of it first."""
        from solespan.api.cli.opening import owned
        from solespan.api.storage import schema

        with owned() as (database, _settings):
            before, after = schema.migrate(database, keep_rows=not yes)
        if before == after:
            typer.echo(f"The database is up to date (revision {after}).")
        else:
            typer.echo(f"The database went from {before or 'empty'} to revision {after}.")
