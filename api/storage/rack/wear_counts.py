"""Wear counts: which pairs were worn most between two days, and how many on each day?

The database counts, so that a large shop's page reads as few rows as a small one's.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.rack import Pair, WearDay, Wearer

__all__ = ["WearsBetween", "most_worn", "pair_names", "wears_by_day", "wears_of"]

_PAIRS: sa.Table = Pair.__table__  # type: ignore[assignment]
_WEARERS: sa.Table = Wearer.__table__  # type: ignore[assignment]
_DAYS: sa.Table = WearDay.__table__  # type: ignore[assignment]
_CALLED = sa.func.lower(sa.func.coalesce(_PAIRS.c.label, _PAIRS.c.pair_id))


@dataclass(frozen=True)
class WearsBetween:
    """Which wears are counted: from `first` to `last`, of a wearer (empty = any), of some pairs."""

    first: date
    last: date
    wearer_id: str = ""
    pair_pks: Collection[int] | None = None

    def of(self, *columns: sa.ColumnElement[Any]) -> sa.Select[Any]:
        """Select columns of these wears and their pairs."""
        query = sa.select(*columns).select_from(_DAYS.join(_PAIRS))
        if self.wearer_id:
            query = query.join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id)
            query = query.where(_WEARERS.c.wearer_id == self.wearer_id)
        if self.pair_pks is not None:
            # Written into the statement: they are numbers, and may be more than parameters may.
            pks: sa.BindParameter[Any] = sa.bindparam(
                "pks", list(self.pair_pks), expanding=True, literal_execute=True
            )
            query = query.where(_PAIRS.c.id.in_(pks))
        return query.where(_DAYS.c.worn_on.between(self.first, self.last))


def most_worn(session: Session, between: WearsBetween, most: int) -> Sequence[sa.Row[Any]]:
    """Return the pairs worn most: number, id, label, wears, and `every` = how many were worn."""
    wears = sa.func.count()
    named = (_PAIRS.c.id, _PAIRS.c.pair_id, _PAIRS.c.label)
    query = between.of(*named, wears.label("wears"), wears.over().label("every"))
    query = query.group_by(*named).order_by(wears.desc(), _CALLED, _PAIRS.c.pair_id).limit(most)
    return session.execute(query).all()


def wears_by_day(session: Session, between: WearsBetween) -> dict[date, int]:
    """Count the pairs worn on each day on which one was."""
    query = between.of(_DAYS.c.worn_on, sa.func.count()).group_by(_DAYS.c.worn_on)
    return {row[0]: row[1] for row in session.execute(query)}


def wears_of(session: Session, between: WearsBetween) -> Sequence[sa.Row[Any]]:
    """Return the wears themselves: `pair_id`, `worn_on`, `wet`."""
    query = between.of(_PAIRS.c.pair_id, _DAYS.c.worn_on, _DAYS.c.wet)
    return session.execute(query).all()


def pair_names(session: Session, wearer_id: str) -> Sequence[sa.Row[Any]]:
    """Return what each pair of a wearer (empty = all) is called: number, id, label."""
    query: sa.Select[Any] = sa.select(_PAIRS.c.id, _PAIRS.c.pair_id, _PAIRS.c.label)
    if wearer_id:
        query = query.join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id)
        query = query.where(_WEARERS.c.wearer_id == wearer_id)
    return session.execute(query).all()
