"""Audit storage: what was changed, by whom: how is it noted with the change, and read again?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.author import Author
from solespan.api.storage.scope import changed_anything, changed_records
from solespan.api.storage.tables.accounts import AuditEntry

__all__ = ["AUTHOR", "actor_of", "forget_audit_before", "list_audit", "note_change"]

AUTHOR = "author"  # where a session keeps who signs it
_LOG: sa.Table = AuditEntry.__table__  # type: ignore[assignment]


def actor_of(session: Session) -> str | None:
    """Return who changes something in this transaction; None where nobody signs."""
    author: Author | None = session.info.get(AUTHOR)
    return None if author is None else author.actor


def note_change(session: Session, author: Author) -> None:
    """Write one entry in the transaction of the change, if it changed anything."""
    session.flush()
    if changed_anything():
        subject = {**changed_records(), **author.subject}
        values = {"actor": author.actor, "action": author.action, "subject": subject}
        session.execute(sa.insert(_LOG).values(values))


def list_audit(
    session: Session, *, after: Sequence[Any] | None, limit: int
) -> list[dict[str, Any]]:
    """Return entries newest first, after the one with number `after`."""
    query = sa.select(_LOG.c.id, _LOG.c.at, _LOG.c.actor, _LOG.c.action, _LOG.c.subject)
    if after is not None:
        query = query.where(_LOG.c.id < after[0])
    rows = session.execute(query.order_by(_LOG.c.id.desc()).limit(limit)).mappings()
    return [dict(row) for row in rows]


def forget_audit_before(session: Session, moment: datetime) -> int:
    """Delete the entries older than `moment`; return how many."""
    result = session.execute(sa.delete(_LOG).where(_LOG.c.at < moment))
    return int(result.rowcount)  # type: ignore[attr-defined]
