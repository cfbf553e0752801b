"""Last change service: which change did a command make last, and how is it taken back?"""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from solespan.api.author import TERMINAL
from solespan.api.errors import Conflict
from solespan.api.services.context import AppContext
from solespan.api.services.rack.wear_today import undo_wear
from solespan.api.storage.audit import list_audit

__all__ = ["UNDO", "WEAR", "undo_last"]

WEAR, UNDO = "wear", "undo"  # commands whose changes are looked at
LOOKED_AT = 1000


def undo_last(ctx: AppContext, session: Session) -> dict[str, Any]:
    """Take back the last change that a command made; only a new wear can be taken back.

    Returns `pair_id` and `worn_on`. Raises `Conflict` where it was another change, `StaleVersion`
    where the wear was changed since.
    """
    last = _last(session)
    if last is None:
        raise Conflict(
            "No command has changed anything that is left to take back.",
            where="the log of changes",
            remedy="See the changes: solespan list audit",
        )
    wear: dict[str, Any] = last["subject"]
    if last["action"] != f"solespan {WEAR}":
        raise Conflict(
            f"The last command that changed something was {last['action']!r}.",
            where=f"the log of changes, {last['at']:%Y-%m-%d %H:%M} UTC",
            accepted="a wear that was logged with solespan wear",
            remedy="Correct that record by its own command or on its page.",
        )
    undo_wear(ctx, session, {"pair": wear["pair_id"], "worn_on": wear["worn_on"], "version": "1"})
    return wear


def _last(session: Session) -> dict[str, Any] | None:
    """Return the newest change by a command that is not taken back yet."""
    undone: list[dict[str, Any]] = []
    for entry in list_audit(session, after=None, limit=LOOKED_AT):
        if entry["actor"] != TERMINAL:
            continue
        if entry["action"] == f"solespan {UNDO}":
            undone.append(entry["subject"])
        elif entry["subject"] in undone:
            undone.remove(entry["subject"])
        else:
            return entry
    return None
