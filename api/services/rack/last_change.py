"""Last change service: which change did a command make last, and how is it undone?"""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from solespan.api.author import TERMINAL
from solespan.api.errors import Conflict
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import list_changes, undo

__all__ = ["undo_last"]

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
