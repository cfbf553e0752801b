"""What does `solespan copy-database` do?"""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from api.storage.session import Database

__all__ = ["register"]

Address = Annotated[str, typer.Argument(help="sqlite:///path or postgresql://user@host/name.")]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("copy-database")
    def copy_database(source: Address, target: Address) -> None:
        """Copy everything of one database into another, which is empty; stop the service first."""
        copied = run(source, target)
        for table, count in copied.items():
            if count:
                typer.echo(f"{table}: {count:,}")
        typer.echo(f"Copied {sum(copied.values()):,} rows; counts of both databases are equal.")


def run(source: str, target: str) -> dict[str, int]:
    """Copy, and return how many rows by table.

    Raises `Refused`, `Conflict`, `DatabaseOld`, `DatabaseTooNew`, `DatabaseUnavailable`.
    """
    from api.storage.copying import copy_rows
    from api.storage.schema import prepare

    with ExitStack() as closing:
        old = _opened(source, "FROM", closing)
        new = _opened(target, "TO", closing)
        _refuse_same(old, new)
        _refuse_other_revision(old)
        prepare(new)
        return copy_rows(old, new)


def _opened(address: str, where: str, closing: ExitStack) -> Database:
    from api.errors import BadSetting, Refused
    from api.storage.engine import ACCEPTED, parsed_url
    from api.storage.session import open_database

    try:
        url = parsed_url(address)
    except BadSetting as cause:
        raise Refused(
            cause.what, where=where, accepted=ACCEPTED, remedy="Correct the address."
        ) from None
    missing = url.get_backend_name() == "sqlite" and not Path(url.database or "").is_file()
    if where == "FROM" and missing:
        raise Refused(
            f"There is no file {url.database}.", where=where, remedy="Correct the address."
        )
    database = open_database(address)
    closing.callback(database.close)
    return database


def _refuse_same(old: Database, new: Database) -> None:
    from api.errors import Refused

    if old.engine.url == new.engine.url:
        raise Refused(
            "Both addresses are of the same database.",
            where="TO",
            accepted="another, empty database",
            remedy="Give the address of an empty database.",
        )


def _refuse_other_revision(old: Database) -> None:
    from api.errors import Refused
    from api.storage.schema import newest_revision, revision_of

    revision = revision_of(old)
    if revision != newest_revision():
        raise Refused(
            f"The source is of revision {revision or 'none'}, this program of {newest_revision()}.",
            where="FROM",
            accepted="a database of the same revision",
            remedy="Bring a copy of it up to date first: solespan migrate",
        )
