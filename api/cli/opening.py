"""Database access of commands.

How does a command get the database or the services that the settings name, ready to use?

A command works in one tenant: the one that `SOLESPAN_TENANT` names.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from solespan.api.author import TERMINAL, Author
from solespan.api.errors import BadSetting
from solespan.api.settings import Settings, load_settings
from solespan.api.storage.accounts.accounts import find_tenant, list_tenants
from solespan.api.storage.engine import parsed_url
from solespan.api.storage.schema import let_serve, prepare
from solespan.api.storage.session import Database, open_database
from solespan.api.wiring import Services, build_services

__all__ = ["by_terminal", "opened", "owned", "serving"]


@contextmanager
def opened(*, ready: bool = True) -> Iterator[tuple[Database, Settings]]:
    """Open the database, make its schema when it is new, and close it at the end."""
    settings = load_settings()
    database = open_database(settings.database_url, wait_s=settings.database_wait_s)
    try:
        if ready:
            prepare(database)
            database = database.for_tenant(_number_of(database, settings.tenant))
        yield database, settings
    finally:
        database.close()


@contextmanager
def owned() -> Iterator[tuple[Database, Settings]]:
    """Open the database by the role that may change its tables; the role that serves gets rows."""
    settings = load_settings()
    address = settings.migration_database_url or settings.database_url
    owner, serves = parsed_url(address), parsed_url(settings.database_url)
    if (owner.drivername, owner.database) != (serves.drivername, serves.database):
        raise BadSetting(
            "The owner's address leads to another database than the one that serves.",
            where="environment variable SOLESPAN_MIGRATION_DATABASE_URL",
            accepted="the database of SOLESPAN_DATABASE_URL, by the role that owns its tables",
            remedy="Correct one of the two, or unset the variable.",
        )
    database = open_database(address, wait_s=settings.database_wait_s)
    try:
        yield database, settings
        if serves.username and owner.username != serves.username:
            let_serve(database, serves.username)
    finally:
        database.close()


@contextmanager
def serving(command: str = "", **subject: str) -> Iterator[Services]:
    """Build the tenant's services on a database that is ready, and close it at the end.

    A `command` that changes something signs its changes, and may say of whom or what they are.
    """
    settings = load_settings()
    services = build_services(settings)
    author = Author(TERMINAL, f"solespan {command}", subject) if command else None
    try:
        prepare(services.database)
        yield services.for_tenant(_number_of(services.database, settings.tenant), author)
    finally:
        services.database.close()


def by_terminal(database: Database, command: str, **subject: str) -> Database:
    """Give the same door, whose changes the audit log says were made by this command."""
    author = Author(TERMINAL, f"solespan {command}", subject)
    return database.for_tenant(database.tenant_pk, author)


def _number_of(database: Database, tenant_id: str) -> int:
    with database.reading() as session:
        number = find_tenant(session, tenant_id)
        known = [tenant["tenant_id"] for tenant in list_tenants(session)]
    if number is None:
        raise BadSetting(
            f"There is no tenant {tenant_id!r} in this database.",
            where="environment variable SOLESPAN_TENANT",
            accepted=", ".join(known[:8]),
            remedy="Name one that is there, or make it: solespan accounts new-tenant ID",
        )
    return number
