"""Copy command: what does `solespan copy-database` do?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from solespan.api.storage.session import Database

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
        typer.echo(f"Copied {sum(copied.values()):,} rows; both databases hold the same rows.")


def run(source: str, target: str) -> dict[str, int]:
    """Copy, and return how many rows by table.

    Raises `Refused`, `Conflict`, `DatabaseOld`, `DatabaseTooNew`, `DatabaseUnavailable`.
    """
    from solespan.api.storage.copying import copy_rows
    from solespan.api.storage.schema import prepare

    with ExitStack() as closing:
        with _said_of("FROM"):
            old = _opened(source, "FROM", closing)
            _refuse_other_revision(old)
        with _said_of("TO"):
            new = _opened(target, "TO", closing)
            _refuse_same(old, new)
            prepare(new)
        with _said_of("FROM or TO"):
            return copy_rows(old, new)


@contextmanager
def _said_of(where: str) -> Iterator[None]:
    """Name this address in errors, not the setting that other commands read."""
    from solespan.api.errors import SolespanError
    from solespan.api.storage.engine import ACCEPTED, DATABASE_SETTING

    try:
        yield
    except SolespanError as error:
        if error.where == DATABASE_SETTING:
            error.where = where
            error.accepted = error.accepted or ACCEPTED
        raise


def _opened(address: str, where: str, closing: ExitStack) -> Database:
    from solespan.api.errors import BadSetting, Refused
    from solespan.api.storage.engine import ACCEPTED, parsed_url
    from solespan.api.storage.session import open_database

    def refused(what: str) -> Refused:
        return Refused(what, where=where, accepted=ACCEPTED, remedy="Correct the address.")

    try:
        url = parsed_url(address)
    except BadSetting as cause:
        raise refused(cause.what) from None
    if url.get_backend_name() == "sqlite":
        if url.database in (None, "", ":memory:"):
            raise refused("The address names no file.")
        if where == "FROM" and not Path(url.database).is_file():
            raise refused(f"There is no file {url.database}.")
    database = open_database(address)
    closing.callback(database.close)
    return database


def _refuse_same(old: Database, new: Database) -> None:
    from solespan.api.errors import Refused

    if old.engine.url == new.engine.url:
        raise Refused(
            "Both addresses are of the same database.",
            where="TO",
            accepted="another, empty database",
            remedy="Give the address of an empty database.",
        )


def _refuse_other_revision(old: Database) -> None:
    from solespan.api.errors import Refused
    from solespan.api.storage.schema import newest_revision, revision_of

    revision = revision_of(old)
    if revision != newest_revision():
        raise Refused(
            f"The source is of revision {revision or 'none'}, this program of {newest_revision()}.",
            where="FROM",
            accepted="a database of the same revision",
            remedy="Bring a copy of it up to date first: solespan migrate",
        )
