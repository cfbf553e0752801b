"""Database restore.

How does a backup become a database again, or change nothing at all?

The file is read whole before the database is touched. Then one transaction makes the schema that
the backup has, writes the rows, reads them back, compares each, and brings the schema up to date.
"""

from __future__ import annotations

from contextlib import closing
from itertools import zip_longest
from pathlib import Path

import sqlalchemy as sa
from alembic import command
from sqlalchemy import Connection

from solespan.api.errors import Conflict, SolespanError
from solespan.api.storage.backup.dump import BackupReport, OpenBackup, check, opened
from solespan.api.storage.backup.rows import (
    VERSION_TABLE,
    Line,
    insert_rows,
    lines_of,
    set_numbers,
    snapshot,
    tables_of,
)
from solespan.api.storage.engine import tell_tenant
from solespan.api.storage.schema import (
    alembic_config,
    one_migrator,
    refuse_foreign,
    refuse_newer,
    revision_of,
)
from solespan.api.storage.scope import FIRST_TENANT
from solespan.api.storage.session import Database, clear_errors

__all__ = ["compare", "restore"]


def restore(
    database: Database, path: Path, *, passphrase: str | None, replace: bool = False
) -> BackupReport:
    """Write the rows of a backup into an empty database, or in the place of what is there.

    Raises `Refused` for a file that is not whole, `DatabaseTooNew` for one of a newer program,
    `Conflict` where the database holds something. Nothing is changed then, nor by any failure.
    """
    report = check(path, passphrase)
    refuse_newer(report.revision, what="backup")
    before = revision_of(database)
    refuse_newer(before)
    with clear_errors(), one_migrator(database) as connection:
        if before is None:
            refuse_foreign(connection)
        elif replace:
            _drop_everything(connection)
        else:
            _refuse_filled(connection)
            if before != report.revision:
                _drop_everything(connection)
        config = alembic_config(connection)
        if before is None or replace or before != report.revision:
            command.upgrade(config, report.revision)
        connection.execute(sa.text("DELETE FROM tenants"))
        with opened(path, passphrase) as content:
            insert_rows(connection, content.tables, content.lines)
        with opened(path, passphrase) as content:
            _compare(connection, content)
        set_numbers(connection, report.numbers)
        command.upgrade(config, "head")
    return report


def compare(database: Database, path: Path, passphrase: str | None) -> BackupReport:
    """Compare a database with a backup, row by row. Raises `SolespanError` at a difference."""
    with snapshot(database) as connection, opened(path, passphrase) as content:
        return _compare(connection, content)


def _compare(connection: Connection, content: OpenBackup) -> BackupReport:
    with closing(lines_of(connection, content.tables)) as there:
        for kept, found in zip_longest(content.lines, there):
            if kept != found:
                raise _different(kept or found)
    assert content.report is not None  # noqa: S101 - the last line was read, or it has raised
    return content.report


def _different(line: Line) -> SolespanError:
    number = line.text.partition(b",")[0].decode().strip("[")
    return SolespanError(
        f"The database differs from the backup in {line.table}, near row {number}.",
        where="FILE",
        accepted="a database that was restored from this file, and not changed since",
        remedy="Restore into an empty database, and let no other program write there.",
    )


def _refuse_filled(connection: Connection) -> None:
    tell_tenant(connection, FIRST_TENANT)
    tenants = connection.scalar(sa.text("SELECT count(*) FROM tenants"))
    filled = [
        name
        for name in tables_of(connection)
        if name != "tenants"
        and connection.execute(sa.select(sa.table(name, sa.column("id"))).limit(1)).first()
    ]
    if filled or (tenants or 0) > 1:
        raise Conflict(
            f"The database is not empty: it holds {', '.join(filled[:3]) or 'several tenants'}.",
            where="environment variable SOLESPAN_DATABASE_URL",
            accepted="an empty database",
            remedy="Name an empty database, or add --replace, which deletes what is there.",
        )


def _drop_everything(connection: Connection) -> None:
    found = sa.MetaData()
    found.reflect(connection)
    assert VERSION_TABLE in found.tables  # noqa: S101 - so they are ours: the revision was read
    found.drop_all(connection)
