"""Schema version.

Is a database empty, of this version, older or newer, and how is it brought up to date?
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text
from sqlalchemy.exc import ProgrammingError

from solespan.api import migrations
from solespan.api.errors import (
    BadSetting,
    Conflict,
    DatabaseTooNew,
    DatabaseUnavailable,
    SolespanError,
)
from solespan.api.storage.engine import DATABASE_SETTING, WRITES, sees_every_tenant, tell_tenant
from solespan.api.storage.session import Database, clear_errors

__all__ = [
    "DatabaseOld",
    "alembic_config",
    "let_serve",
    "migrate",
    "newest_revision",
    "one_migrator",
    "prepare",
    "refuse_foreign",
    "refuse_newer",
    "refuse_unbound_role",
    "revision_of",
    "stored_revision",
]

# Any number will do that no other program on the server uses for its own lock.
ADVISORY_LOCK = 7_304_211_889


class DatabaseOld(DatabaseUnavailable):
    """An older program made this database; one command brings it up to date."""


def alembic_config(connection: Connection | None = None) -> Config:
    """Build Alembic's configuration in code, so no file outside the package is needed."""
    folder = Path(str(migrations.__file__)).parent
    config = Config()
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    if connection is not None:
        config.attributes["connection"] = connection
    return config


def newest_revision() -> str:
    """Return the revision that this program understands."""
    head = ScriptDirectory.from_config(alembic_config()).get_current_head()
    if head is None:
        raise RuntimeError("the package holds no migration")
    return head


def revision_of(database: Database) -> str | None:
    """Return the revision of a database; None when it is empty."""
    with clear_errors(), database.engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def stored_revision(database: Database) -> str | None:
    """Return the revision that the database names, by one small query."""
    try:
        with database.looking() as connection:
            return connection.execute(_REVISION).scalar()
    except ProgrammingError:  # it has no such table
        return None


_REVISION = text("SELECT version_num FROM alembic_version")


def prepare(database: Database) -> None:
    """Make the schema in an empty database; leave one of this version alone.

    Raises `DatabaseTooNew` or `DatabaseOld` when it is of another version.
    """
    revision = revision_of(database)
    if revision == newest_revision():
        return
    if revision is None:
        migrate(database)
        return
    refuse_newer(revision)
    raise DatabaseOld(
        f"The database is of revision {revision}, this program needs {newest_revision()}.",
        where=DATABASE_SETTING,
        remedy="Run: solespan backup FILE, then: solespan migrate",
    )


def refuse_unbound_role(database: Database) -> None:
    """Raise `BadSetting` where PostgreSQL's row-level security does not bind our role."""
    with clear_errors(), database.engine.connect() as connection:
        if sees_every_tenant(connection):
            raise BadSetting(
                "The database role is a superuser or bypasses row-level security, so nothing but "
                "the program itself would keep tenants apart.",
                where=DATABASE_SETTING,
                accepted="a role without SUPERUSER and BYPASSRLS",
                remedy="CREATE ROLE one, and use its address; docs/running has the lines.",
            )


def migrate(
    database: Database, target: str = "head", *, keep_rows: bool = False
) -> tuple[str | None, str | None]:
    """Bring a database to `target` in one transaction; return its revision before and after.

    With `keep_rows` nothing is changed when a table would have fewer rows afterwards: `Conflict`.
    Raises `DatabaseTooNew` when a newer program made it. Raises `DatabaseUnavailable` when an empty
    revision stands beside tables of someone else.
    """
    before = revision_of(database)
    refuse_newer(before)
    with clear_errors(), one_migrator(database) as connection:
        if before is None:
            refuse_foreign(connection)
        rows = _row_counts(connection) if keep_rows and before is not None else {}
        config = alembic_config(connection)
        if target == "head" or before is None:
            command.upgrade(config, target)
        else:
            command.downgrade(config, target)
        if rows:
            _refuse_loss(rows, _row_counts(connection))
    return before, revision_of(database)


def let_serve(database: Database, role: str) -> None:
    """Let a PostgreSQL role read and write rows, and nothing else; `database` is the owner's."""
    with clear_errors(), one_migrator(database) as connection:
        quote = connection.dialect.identifier_preparer.quote
        to, schema = quote(role), quote(connection.scalar(text("SELECT current_schema()")))
        for grant in (
            f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA {schema} TO {to}",
            f"GRANT SELECT, USAGE ON ALL SEQUENCES IN SCHEMA {schema} TO {to}",
            f"REVOKE INSERT, UPDATE, DELETE ON alembic_version FROM {to}",
        ):
            connection.exec_driver_sql(grant)


def _row_counts(connection: Connection) -> dict[str, int]:
    """Count the rows of every table, of all tenants."""
    seen = inspect(connection)
    counts = dict.fromkeys(seen.get_table_names(), 0)
    tenants = connection.scalars(text("SELECT id FROM tenants")).all() if counts else []
    for name in counts:
        mine = any(column["name"] == "tenant_pk" for column in seen.get_columns(name))
        whose = f"FROM {name} WHERE tenant_pk = :tenant" if mine else f"FROM {name}"
        for tenant in tenants if mine else tenants[:1]:
            tell_tenant(connection, tenant)  # row-level security shows no other rows
            found = connection.execute(text(f"SELECT count(*) {whose}"), {"tenant": tenant})
            counts[name] += found.scalar_one()
    return counts


def _refuse_loss(before: dict[str, int], after: dict[str, int]) -> None:
    lost = {name: rows - after.get(name, 0) for name, rows in before.items()}
    said = [f"{rows:,} of {name}" for name, rows in lost.items() if rows > 0]
    if said:
        raise Conflict(
            f"The migration would delete rows: {', '.join(said)}. Nothing was changed.",
            where=DATABASE_SETTING,
            remedy="Make a backup, then run: solespan migrate --yes",
        )


@contextmanager
def one_migrator(database: Database) -> Iterator[Connection]:
    """Open one transaction that keeps other migrators out and commits at the end."""
    with database.engine.connect() as connection:
        if connection.dialect.name != "sqlite":
            with connection.begin():
                connection.execute(
                    text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": ADVISORY_LOCK}
                )
                yield connection
            return
        # Batch mode drops and renames tables, which would cascade with foreign keys on; the
        # pragma only works outside a transaction, so it goes past SQLAlchemy.
        raw = connection.connection.driver_connection
        if raw is None:
            raise RuntimeError("the connection has no driver connection")
        raw.execute("PRAGMA foreign_keys=OFF")
        try:
            writer = connection.execution_options(**{WRITES: True})
            with writer.begin():
                yield writer
                broken = writer.exec_driver_sql("PRAGMA foreign_key_check").first()
                if broken is not None:
                    raise RuntimeError(f"the migration broke a foreign key: {broken}")
        finally:
            raw.execute("PRAGMA foreign_keys=ON")


def refuse_newer(revision: str | None, what: str = "database") -> None:
    """Raise `DatabaseTooNew` where this program does not know the revision."""
    known = {
        step.revision for step in ScriptDirectory.from_config(alembic_config()).walk_revisions()
    }
    if revision is not None and revision not in known:
        raise DatabaseTooNew(
            f"A newer program made this {what} (revision {revision}).",
            where=DATABASE_SETTING if what == "database" else "FILE",
            accepted=f"a {what} up to revision {newest_revision()}",
            remedy=f"Install that newer version of solespan, or use another {what}.",
        )


def refuse_foreign(connection: Connection) -> None:
    """Raise `SolespanError` where tables stand that are not ours."""
    tables = set(inspect(connection).get_table_names()) - {"alembic_version"}
    if tables:
        raise SolespanError(
            f"The database holds tables of another program: {', '.join(sorted(tables)[:3])}.",
            where=DATABASE_SETTING,
            accepted="an empty database, or one that solespan made",
            remedy="Give the address of an empty database.",
        )
