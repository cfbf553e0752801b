"""Bench load storage: which work is open, and how long did the newest timed jobs take?"""

from __future__ import annotations

from typing import Any

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.bench import BenchOrder
from solespan.api.storage.tables.rack import BenchJob, Pair

__all__ = ["open_work", "timed_jobs"]

HERE_OR_COMING = ("booked", "in_post", "received", "on_bench")
MOST_TIMED = 1000
_ORDERS: sa.Table = BenchOrder.__table__  # type: ignore[assignment]
_JOBS: sa.Table = BenchJob.__table__  # type: ignore[assignment]


def open_work(session: Session, *, hold: bool = False) -> list[dict[str, Any]]:
    """Return every order whose work is not done.

    With `hold` nobody else who asks so gets an answer before this transaction ends.

    `id`, `work`, `more_works`, `stage`, `booked_on`, `expected_on`, `promised_on` and the pair's
    `construction`.
    """
    if hold:
        hold_key(session, "bench", "calendar")
    names = ("id", "work", "more_works", "stage", "booked_on", "expected_on", "promised_on")
    query = (
        sa.select(*(_ORDERS.c[name] for name in names), Pair.construction)
        .join(Pair, _ORDERS.c.pair_pk == Pair.id)
        .where(_ORDERS.c.stage.in_(HERE_OR_COMING))
    )
    return [dict(row) for row in session.execute(query).mappings()]


def timed_jobs(session: Session) -> pd.DataFrame:
    """Return works, `construction`, `bench_minutes` and `worker` of the newest timed jobs."""
    made = sa.and_(_ORDERS.c.order_id == _JOBS.c.job_id, _ORDERS.c.pair_pk == _JOBS.c.pair_pk)
    columns = (_JOBS.c.work, _JOBS.c.more_works, Pair.construction, _JOBS.c.bench_minutes)
    query = (
        sa.select(*columns, _ORDERS.c.worker)
        .join(Pair, _JOBS.c.pair_pk == Pair.id)
        .outerjoin(_ORDERS, made)
        .where(_JOBS.c.bench_minutes > 0)
        .order_by(_JOBS.c.id.desc())
        .limit(MOST_TIMED)
    )
    rows = session.execute(query).all()
    names = [*(column.name for column in columns), "worker"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.astype({"bench_minutes": float, "worker": object})
