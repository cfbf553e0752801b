"""Workload storage: what does the workload forecast read from the database?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.storage.change_capture import UNKEPT
from solespan.api.storage.tables.bench import BenchEvent, BenchOrder, BenchPlan, DueOutcome
from solespan.api.storage.tables.rack import Check, Pair, Sole, WearDay
from solespan.api.storage.tables.results import Fit

__all__ = [
    "first_followed",
    "followed_since",
    "last_worn",
    "load_open_orders",
    "load_outcomes",
    "newest_plan",
    "put_outcome",
    "replace_supposed",
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


def last_worn(session: Session) -> pd.Series:
    """Return the last day on which each pair was worn in the log, by `pair_id`."""
    query = (
        sa.select(Pair.pair_id, sa.func.max(WearDay.worn_on))
        .join(Pair, WearDay.pair_pk == Pair.id)
        .group_by(Pair.pair_id)
    )
    rows = session.execute(query).all()
    days = pd.to_datetime([day for _, day in rows])
    return pd.Series(days, index=[pair_id for pair_id, _ in rows], dtype="datetime64[s]")


def load_outcomes(session: Session) -> pd.DataFrame:
    """Return `pair_id`, `due_on`, `outcome`, `came_on`, `supposed` of every outcome."""
    names = ("due_on", "outcome", "came_on", "supposed")
    columns = [_OUTCOMES.c[name] for name in names]
    query = sa.select(Pair.pair_id, *columns).join(Pair, _OUTCOMES.c.pair_pk == Pair.id)
    rows = session.execute(query.order_by(_OUTCOMES.c.due_on, Pair.pair_id)).all()
    frame = pd.DataFrame(rows, columns=["pair_id", *names])
    frame["supposed"] = frame["supposed"].astype(bool)
    for name in ("due_on", "came_on"):
        frame[name] = pd.to_datetime(frame[name]).astype("datetime64[s]")
    return frame


def put_outcome(session: Session, pair_pk: int, values: Mapping[str, Any]) -> bool:
    """Write what became of a due pair, or replace it; return whether it is new.

    What was only supposed of the sole on the pair gives way; its day stays, as it is when the pair
    was due.
    """
    given = dict(values) | {"supposed": False}
    supposed = _supposed_day(session, pair_pk)
    if supposed is not None:
        given["due_on"] = min(given["due_on"], supposed)
        of_pair = (_OUTCOMES.c.pair_pk == pair_pk) & _OUTCOMES.c.supposed
        session.execute(sa.delete(_OUTCOMES).where(of_pair, _OUTCOMES.c.due_on == supposed))
    values = given
    same = (_OUTCOMES.c.pair_pk == pair_pk) & (_OUTCOMES.c.due_on == values["due_on"])
    there = session.execute(sa.select(_OUTCOMES.c.id).where(same)).scalar_one_or_none()
    if there is None:
        session.execute(sa.insert(_OUTCOMES).values(pair_pk=pair_pk, **values))
        return True
    session.execute(sa.update(_OUTCOMES).where(same).values(**values))
    return False


def _supposed_day(session: Session, pair_pk: int) -> date | None:
    """Return the day since which the sole on a pair is supposed to be due, or None."""
    fitted = sa.select(sa.func.max(Sole.fitted_on)).where(Sole.pair_pk == pair_pk)
    query = sa.select(sa.func.max(_OUTCOMES.c.due_on)).where(
        _OUTCOMES.c.pair_pk == pair_pk,
        _OUTCOMES.c.supposed,
        _OUTCOMES.c.due_on >= fitted.scalar_subquery(),
    )
    day: date | None = session.execute(query).scalar_one()
    return day


def followed_since(session: Session) -> date | None:
    """Return the first day of which it is known what became of due pairs; None: none yet."""
    told = sa.select(sa.func.min(_OUTCOMES.c.due_on)).where(~_OUTCOMES.c.supposed)
    days = [
        session.execute(told).scalar_one(),
        session.execute(sa.select(sa.func.min(Fit.as_of))).scalar_one(),
    ]
    return min((day for day in days if day is not None), default=None)


def replace_supposed(session: Session, wanted: pd.DataFrame) -> int:
    """Let exactly these outcomes be supposed of soles; return how many rows changed.

    Parameters
    ----------
    wanted : DataFrame
        `pair_id`, `due_on`, `outcome`, `came_on`.
    """
    query = sa.select(
        Pair.pair_id,
        *(_OUTCOMES.c[name] for name in ("due_on", "outcome", "came_on")),
        _OUTCOMES.c.id,
    )
    query = query.join(Pair, _OUTCOMES.c.pair_pk == Pair.id).where(_OUTCOMES.c.supposed)
    there = {tuple(row[:4]): row[4] for row in session.execute(query)}
    rows = {
        (str(pair_id), due_on.date(), str(outcome), None if pd.isna(came_on) else came_on.date())
        for pair_id, due_on, outcome, came_on in wanted.itertuples(index=False, name=None)
    }
    old = [pk for key, pk in there.items() if key not in rows]
    new = rows - there.keys()
    if old:
        gone = sa.delete(_OUTCOMES).where(_OUTCOMES.c.id.in_(old))
        session.execute(gone, execution_options={UNKEPT: True})
    if new:
        ids = {key[0] for key in new}
        known = sa.select(Pair.pair_id, Pair.id).where(Pair.pair_id.in_(ids))
        pks = {row[0]: row[1] for row in session.execute(known)}
        values = [
            dict(zip(("due_on", "outcome", "came_on"), rest, strict=True))
            | {"pair_pk": pks[pair_id], "supposed": True}
            for pair_id, *rest in new
            if pair_id in pks
        ]
        session.execute(sa.insert(_OUTCOMES), values, execution_options={UNKEPT: True})
    return len(old) + len(new)


def load_open_orders(session: Session) -> list[dict[str, Any]]:
    """Return every order not yet given back, the first booked first.

    `order_id`, `pair_id`, `work`, `more_works`, `stage`, `expected_on`, `promised_on`, and
    `begun_at`, when it was put on the bench.
    """
    named = ("order_id", "work", "more_works", "stage", "expected_on", "promised_on")
    begun = sa.select(sa.func.max(BenchEvent.at)).where(
        BenchEvent.order_pk == _ORDERS.c.id, BenchEvent.to_stage == "on_bench"
    )
    query = (
        sa.select(
            Pair.pair_id, *(_ORDERS.c[n] for n in named), begun.scalar_subquery().label("begun_at")
        )
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
