"""Import runs storage: which imports were taken, and what did each report say?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.results import ImportRun

__all__ = ["emptied_report", "find_import", "import_id_of", "list_imports"]

_RUNS: sa.Table = ImportRun.__table__  # type: ignore[assignment]
_SHORT = (_RUNS.c.import_id, _RUNS.c.imported_at, _RUNS.c.source, _RUNS.c.counts)


def emptied_report(report: dict[str, Any]) -> dict[str, Any]:
    """Return a report with its counts, and none of the rows it quotes or the values it lists."""
    left_out = report.get("rows_left_out", 0) + len(report.get("rows", ()))
    return {**report, "rows": [], "assumed": [], "rows_left_out": left_out}


def list_imports(
    session: Session, *, after: Sequence[Any] | None, limit: int
) -> list[dict[str, Any]]:
    """Return imports without their reports, newest first, after the one with number `after`."""
    query = sa.select(*_SHORT, _RUNS.c.id).order_by(_RUNS.c.id.desc()).limit(limit)
    if after is not None:
        query = query.where(_RUNS.c.id < after[0])
    return [dict(row) for row in session.execute(query).mappings()]


def find_import(session: Session, import_id: str) -> dict[str, Any] | None:
    """Return one import with its report, or None."""
    query = sa.select(*_SHORT, _RUNS.c.report).where(_RUNS.c.import_id == import_id)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def import_id_of(session: Session, source: str) -> str | None:
    """Return the id of the newest import from this source, or None."""
    query = sa.select(_RUNS.c.import_id).where(_RUNS.c.source == source)
    return session.execute(query.order_by(_RUNS.c.id.desc()).limit(1)).scalar()
