"""Free space of a database file: how does what was deleted leave the file as well?

A row that is deleted, or changed, leaves its bytes in free space of the file until something else
is written there. `secure_delete` would overwrite what one connection deletes from now on, but not
what earlier changes left behind, nor the write-ahead log. So the file is replaced (VACUUM) and the
log emptied. On PostgreSQL the server's own vacuum does it in time.
"""

from __future__ import annotations

import sqlite3

from solespan.api.storage.session import Database

__all__ = ["write_file_anew"]


def write_file_anew(database: Database) -> bool:
    """Write a SQLite file again, without what was deleted; return whether nothing is left of it.

    False where somebody reads or writes meanwhile, and on PostgreSQL, where the space is only
    given free.
    """
    with database.engine.connect() as connection:
        raw = connection.connection.driver_connection
        if raw is None:
            raise RuntimeError("the connection has no driver connection")
        if connection.dialect.name != "sqlite":
            return False
        try:
            # Past SQLAlchemy, which would begin a transaction; a vacuum stands outside of any.
            raw.execute("VACUUM")
            busy = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        except sqlite3.OperationalError:
            return False
        return not busy
