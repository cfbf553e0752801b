"""Pace form service: how is "worn about twice a week" stated for pairs and for a whole rack?

Only fields that differ from what the page showed are written. A pace that was changed elsewhere
meanwhile is not overwritten.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.schemas.forms import FormProblem, read_column
from solespan.api.services.context import AppContext
from solespan.api.services.rack import records
from solespan.api.services.rack.log_forms import follow
from solespan.forecast.frames import TABLES

__all__ = ["save_paces"]

PACE = "wears_per_week"
Stated = tuple[str, str, str, str]


def save_paces(ctx: AppContext, session: Session, stated: Sequence[Stated]) -> dict[str, Any]:
    """Keep stated paces, each as table, id, what the page showed and what was typed.

    Returns how many `changed`, and `needs_fit`. Raises `FormProblem`, `NotFound`.
    """
    wearer_ids = set()
    changed = 0
    for name, record_id, shown, typed in stated:
        column = TABLES[name].by_name[PACE]
        key = {TABLES[name].key[0]: record_id}
        old, new = (read_column(column, {PACE: text}) for text in (shown, typed))
        if old == new:
            continue
        stored = records.read(session, name, key)
        if stored[PACE] not in (old, new):
            raise FormProblem({"": "A pace was changed elsewhere meanwhile. Look at it again."})
        written = records.replace(
            session,
            name,
            key,
            {PACE: new},
            versions=frozenset({stored["version"]}),
            clock=ctx.clock,
        )
        if written.outcome != "unchanged":
            changed += 1
            wearer_ids.add(written.wearer_id)
    wanted = [follow(ctx, session, wearer_id) for wearer_id in sorted(wearer_ids)]
    return {"changed": changed, "needs_fit": any(wanted)}
