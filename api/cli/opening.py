"""How does a command get the database that the settings name, ready to use?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from api.settings import Settings, load_settings
from api.storage.schema import prepare
from api.storage.session import Database, open_database

__all__ = ["opened"]


@contextmanager
def opened(*, ready: bool = True) -> Iterator[tuple[Database, Settings]]:
    """Open the database, make its schema when it is new, and close it at the end."""
    settings = load_settings()
    database = open_database(settings.database_url, wait_s=settings.database_wait_s)
    try:
        if ready:
            prepare(database)
        yield database, settings
    finally:
        database.close()
