"""Asking facts storage: what is known of each pair and of the lives of the shop's soles?"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased

from solespan.api.storage.tables.rack import Check, Layer, Pair, Sole, WearDay
from solespan.api.storage.tables.results import ForecastRow
from solespan.forecast.layers.own_limits import with_own_limits
from solespan.forecast.workload.asking_rules import FACTS

__all__ = ["load_facts", "load_limit_facts", "load_lives"]

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
    frame = frame.astype({"nominal_thickness_mm": float, "limit_mm": float}).assign(
        fitted_on=pd.to_datetime(frame["fitted_on"]).astype("datetime64[s]"),
        seen=frame["seen"].astype(bool),
        known=frame["known"].astype(bool),
    )
    return with_own_limits(frame, *load_limit_facts(session))


def load_limit_facts(session: Session) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return midsoles and readings of lugs: what gives a sole a limit of its own."""
    midsoles = (
        sa.select(Pair.pair_id, Layer.layer, Layer.fitted_on, Layer.removed_on)
        .join(Pair, Layer.pair_pk == Pair.id)
        .where(Layer.layer == "midsole")
    )
    lugs = (
        sa.select(Pair.pair_id, Check.checked_on, Check.point, Check.value_mm, Check.lug_mm)
        .join(Pair, Check.pair_pk == Pair.id)
        # by the pairs on such units: the checks of a big shop are never read whole
        .where(
            Check.lug_mm.is_not(None),
            Check.pair_pk.in_(sa.select(Sole.pair_pk).where(Sole.material == "lug_rubber")),
        )
    )
    return (
        _frame(session, midsoles, ("fitted_on", "removed_on")),
        _frame(session, lugs, ("checked_on",)),
    )


def _frame(session: Session, query: Any, days: tuple[str, ...]) -> pd.DataFrame:
    rows = [tuple(row) for row in session.execute(query)]
    frame = pd.DataFrame(rows, columns=[c.key for c in query.selected_columns])
    return frame.assign(**{day: pd.to_datetime(frame[day]).astype("datetime64[s]") for day in days})


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
