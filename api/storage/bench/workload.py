"""Workload storage: what does the workload forecast read from the database?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.storage.tables.bench import BenchOrder, BenchPlan, DueOutcome
from solespan.api.storage.tables.rack import Check, Pair, WearDay

__all__ = [
    "first_followed",
    "load_open_orders",
    "load_outcomes",
    "newest_plan",
    "put_outcome",
    "save_plan",
]

_ORDERS: sa.Table = BenchOrder.__table__  # type: ignore[assignment]
_OUTCOMES: sa.Table = DueOutcome.__table__  # type: ignore[assignment]
_PLANS: sa.Table = BenchPlan.__table__  # type: ignore[assignment]


def first_followed(session: Session) -> dict[str, date]:
    """Return the first day on which each pair was worn or looked at in the log."""
    found: dict[str, date] = {}
    for mapped, day in ((WearDay, WearDay.worn_on), (Check, Check.checked_on)):
        query = (
            sa.select(Pair.pair_id, sa.func.min(day))
            .join(Pair, mapped.pair_pk == Pair.id)
            .group_by(Pair.pair_id)
        )
        for pair_id, first in session.execute(query):
            found[pair_id] = min(first, found.get(pair_id, first))
    return found


def load_outcomes(session: Session) -> pd.DataFrame:
    """Return `pair_id`, `due_on`, `outcome`, `came_on` of every outcome."""
    query = sa.select(
        Pair.pair_id, _OUTCOMES.c.due_on, _OUTCOMES.c.outcome, _OUTCOMES.c.came_on
    ).join(Pair, _OUTCOMES.c.pair_pk == Pair.id)
    rows = session.execute(query.order_by(_OUTCOMES.c.due_on, Pair.pair_id)).all()
    frame = pd.DataFrame(rows, columns=["pair_id", "due_on", "outcome", "came_on"])
    for name in ("due_on", "came_on"):
        frame[name] = pd.to_datetime(frame[name]).astype("datetime64[s]")
    return frame


def put_outcome(session: Session, pair_pk: int, values: Mapping[str, Any]) -> bool:
    """Write what became of a due pair, or replace it; return whether it is new."""
    same = (_OUTCOMES.c.pair_pk == pair_pk) & (_OUTCOMES.c.due_on == values["due_on"])
    there = session.execute(sa.select(_OUTCOMES.c.id).where(same)).scalar_one_or_none()
    if there is None:
        session.execute(sa.insert(_OUTCOMES).values(pair_pk=pair_pk, **values))
        return True
    session.execute(sa.update(_OUTCOMES).where(same).values(**values))
    return False


def load_open_orders(session: Session) -> list[dict[str, Any]]:
    """Return `pair_id`, `work`, `stage`, `expected_on` of every order not yet given back."""
    query = (
        sa.select(Pair.pair_id, _ORDERS.c.work, _ORDERS.c.stage, _ORDERS.c.expected_on)
        .join(Pair, _ORDERS.c.pair_pk == Pair.id)
        .where(_ORDERS.c.stage.in_(OPEN_STAGES))
        .order_by(_ORDERS.c.id)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def save_plan(session: Session, as_of: date, payload: dict[str, Any]) -> int:
    """Keep a plan; return its number."""
    made = session.execute(sa.insert(_PLANS).values(as_of=as_of, payload=payload))
    return int(made.inserted_primary_key[0])  # type: ignore[attr-defined]


def newest_plan(session: Session) -> dict[str, Any] | None:
    """Return `made_at`, `as_of` and `payload` of the newest plan, or None."""
    query = sa.select(_PLANS.c.made_at, _PLANS.c.as_of, _PLANS.c.payload)
    row = session.execute(query.order_by(_PLANS.c.id.desc()).limit(1)).mappings().one_or_none()
    return None if row is None else dict(row)
