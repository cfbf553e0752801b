"""Unknown ids: what does a person read who names a record that is not there?"""

from __future__ import annotations

from difflib import get_close_matches

from sqlalchemy.orm import Session

from solespan.api.errors import NotFound
from solespan.api.storage.rack import records as stored

__all__ = ["unknown_id"]

SUGGESTED_AMONG = 5000


def unknown_id(session: Session, name: str, column: str, public_id: str) -> NotFound:
    """Build the error for an unknown id, with the nearest known one as the remedy."""
    known = stored.nearest_ids(session, name, SUGGESTED_AMONG)
    near = get_close_matches(public_id, known, n=1)
    thing = name.removesuffix("s").replace("_", " ")
    return NotFound(
        f"There is no {thing} {public_id!r}." if public_id else f"No {thing} was named.",
        where=column,
        remedy=f"Did you mean {near[0]!r}?" if near else f"Look it up in the list of {name}.",
    )
