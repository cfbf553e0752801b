"""Readiness: can the program work with the database that it was given?"""

from __future__ import annotations

from functools import cache

from solespan.api.storage.schema import newest_revision, stored_revision
from solespan.api.storage.session import Database

__all__ = ["has_our_schema"]


def has_our_schema(database: Database) -> bool:
    """Say whether the database has the schema that this program understands."""
    return stored_revision(database) == _ours()


@cache
def _ours() -> str:
    """Read the program's own migrations once: they do not change while it runs."""
    return newest_revision()
