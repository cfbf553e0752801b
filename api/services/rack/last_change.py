"""Last change service: which change did a command make last, and how is it undone?"""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from solespan.api.author import TERMINAL
from solespan.api.errors import Conflict
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import list_changes, thing, undo

__all__ = ["undo_last", "words_of_change"]

LOOKED_AT = 1000


def undo_last(ctx: AppContext, session: Session) -> dict[str, Any]:
    """Undo the newest change that a command made and that still holds; return that change.

    Raises `Conflict` where there is none, and what `history.undo` raises.
    """
    changes = list_changes(session, below_id=None, limit=LOOKED_AT)
    for change in changes:
        if change["actor"] == TERMINAL and not (change["undone_at"] or change["is_undoing"]):
            undo(ctx, session, change["revision_id"])
            return change
    raise Conflict(
        "No command has changed anything that is left to take back.",
        where="the history of records",
        remedy="See the changes: solespan list changes",
    )


def words_of_change(change: dict[str, Any]) -> str:
    """Say what a change was: its command, and the record or how many of each table."""
    parts = (
        f"{thing(p['table'])} {p['record_key']}" if p["record_key"] else f"{p['rows']} {p['table']}"
        for p in change["parts"]
    )
    return f"{change['action']} ({', '.join(parts)})"
