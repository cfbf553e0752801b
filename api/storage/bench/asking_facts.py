"""Asking facts storage: what is known of each pair and of the lives of the shop's soles?"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased

from solespan.api.storage.tables.rack import Check, Pair, Sole, WearDay
from solespan.api.storage.tables.results import ForecastRow
from solespan.forecast.workload.asking_rules import FACTS

__all__ = ["load_facts", "load_lives"]

MOST_LIVES = 1000


def load_facts(session: Session, pair_ids: Collection[str] | None = None) -> pd.DataFrame:
    """Return the facts of these pairs, or of every one with a forecast, columns `FACTS`."""
    earlier = aliased(Sole)
    first_on = (
        sa.select(sa.func.min(earlier.fitted_on))
        .where(earlier.pair_pk == Pair.id)
        .scalar_subquery()
    )
    last_look = (
        sa.select(sa.func.max(Check.checked_on)).where(Check.pair_pk == Pair.id).scalar_subquery()
    )
    # asked by pair through the index; EXISTS would be hashed from all wear days of a big shop
    first_worn = (
        sa.select(sa.func.min(WearDay.worn_on)).where(WearDay.pair_pk == Pair.id).scalar_subquery()
    )
    came_off = sa.exists().where(
        earlier.pair_pk == Pair.id,
        earlier.id != Sole.id,
        earlier.removed_on.is_not(None),
        sa.not_(earlier.assumed),
    )
    query = (
        sa.select(
            Pair.pair_id,
            Sole.fitted_on,
            Sole.material,
            Sole.nominal_thickness_mm,
            Sole.limit_mm,
            Sole.cover,
            sa.func.coalesce(last_look > Sole.fitted_on, sa.false()),
            sa.func.coalesce(last_look > first_on, sa.false())
            | first_worn.is_not(None)
            | came_off
            | Pair.wears_per_week.is_not(None),
        )
        .join(ForecastRow, ForecastRow.pair_pk == Pair.id)
        .join(Sole, ForecastRow.sole_pk == Sole.id)
        .where(ForecastRow.foot == "pair", ForecastRow.point == "ball")
    )
    if pair_ids is not None:
        query = query.where(Pair.pair_id.in_(pair_ids))
    frame = pd.DataFrame([tuple(row) for row in session.execute(query)], columns=list(FACTS))
    return frame.astype({"nominal_thickness_mm": float, "limit_mm": float}).assign(
        fitted_on=pd.to_datetime(frame["fitted_on"]),
        seen=frame["seen"].astype(bool),
        known=frame["known"].astype(bool),
    )


def load_lives(session: Session) -> np.ndarray:
    """Return the days that the newest soles lasted which came off for a new one.

    Soles of which something is assumed do not count.
    """
    later = aliased(Sole)
    followed = sa.exists().where(later.pair_pk == Sole.pair_pk, later.fitted_on > Sole.fitted_on)
    query = (
        sa.select(Sole.fitted_on, Sole.removed_on)
        .where(Sole.removed_on.is_not(None), sa.not_(Sole.assumed), followed)
        .order_by(Sole.id.desc())
        .limit(MOST_LIVES)
    )
    rows = session.execute(query).all()
    frame = pd.DataFrame([tuple(row) for row in rows], columns=["fitted_on", "removed_on"])
    days = (pd.to_datetime(frame["removed_on"]) - pd.to_datetime(frame["fitted_on"])).dt.days
    lives = days.to_numpy(float)
    return lives[lives > 0]
