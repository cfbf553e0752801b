"""Readiness: can the program work with the database that it was given?"""

from __future__ import annotations

from solespan.api.storage.schema import newest_revision, revision_of
from solespan.api.storage.session import Database

__all__ = ["has_our_schema"]


def has_our_schema(database: Database) -> bool:
    """Say whether the database has the schema that this program understands."""
    return revision_of(database) == newest_revision()
