"""Migrate command: what does `solespan migrate` do?"""

from __future__ import annotations

import typer

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("migrate")
    def migrate() -> None:
        """Bring the database up to date; make a copy of it first."""
        from solespan.api.cli.opening import opened
        from solespan.api.storage import schema

        with opened(ready=False) as (database, _settings):
            before, after = schema.migrate(database)
        if before == after:
            typer.echo(f"The database is up to date (revision {after}).")
        else:
            typer.echo(f"The database went from {before or 'empty'} to revision {after}.")
