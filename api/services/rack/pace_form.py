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

    Returns how many `changed`, and `needs_fit`. Raises `FormProblem` by id, `NotFound`.
    """
    wearer_ids = set()
    changed = 0
    errors: dict[str, str] = {}
    for name, record_id, shown, typed in stated:
        if typed == shown:
            continue
        key = {TABLES[name].key[0]: record_id}
        stored = records.read(session, name, key)
        try:
            pace = read_column(TABLES[name].by_name[PACE], {PACE: typed})
        except FormProblem as problem:
            errors[record_id] = problem.errors[PACE]
            continue
        if stored[PACE] != pace and _text(stored[PACE]) != shown:
            errors[record_id] = f"changed elsewhere meanwhile to {_text(stored[PACE]) or 'nothing'}"
            continue
        versions = frozenset({stored["version"]})
        written = records.replace(
            session, name, key, {PACE: pace}, versions=versions, clock=ctx.clock
        )
        if written.outcome != "unchanged":
            changed += 1
            wearer_ids.add(written.wearer_id)
    if errors:
        raise FormProblem(errors)
    wanted = [follow(ctx, session, wearer_id) for wearer_id in sorted(wearer_ids)]
    return {"changed": changed, "needs_fit": any(wanted)}


def _text(pace: float | None) -> str:
    return "" if pace is None else f"{pace:g}"
