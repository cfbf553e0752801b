"""Forecasts storage: how are fits kept, and forecasts read?

Rows of `forecasts` have the columns of `forecast.frames.FORECAST`; the text ids come from a join.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from functools import cache
from typing import Any, cast

import pandas as pd
from sqlalchemy import Select, Table, delete, select
from sqlalchemy.orm import Session

from solespan.api.storage.rack.frames import frame_of_rows
from solespan.api.storage.rack.versions import newest_data_version
from solespan.api.storage.tables.rack import Pair, Sole, Wearer
from solespan.api.storage.tables.results import Fit, ForecastRow
from solespan.forecast.frames import FORECAST

__all__ = [
    "UNFINISHED",
    "drop_unfinished",
    "forecast_query",
    "keep_unfinished",
    "load_forecasts",
    "save_fit",
    "unfinished_fit",
]

IDS_PER_QUERY = 500
_ROWS, _PAIRS, _WEARERS, _SOLES = (
    cast("Table", mapped.__table__) for mapped in (ForecastRow, Pair, Wearer, Sole)
)
UNFINISHED = " unfinished"  # behind the model's version, of a fit that was stopped on its way


def save_fit(session: Session, *, as_of: date, model_version: str, payload: dict[str, Any]) -> Fit:
    """Keep a fit (a plain dict of JSON values) with the data version it saw."""
    fit = Fit(
        as_of=as_of,
        model_version=model_version,
        data_version=newest_data_version(session),
        payload=payload,
    )
    session.add(fit)
    session.flush()
    return fit


def keep_unfinished(
    session: Session, *, as_of: date, model_version: str, data_version: int, payload: dict[str, Any]
) -> None:
    """Keep where a fit stands, in the place of what was kept before."""
    drop_unfinished(session)
    version = model_version + UNFINISHED
    fit = Fit(as_of=as_of, model_version=version, data_version=data_version, payload=payload)
    session.add(fit)


def unfinished_fit(
    session: Session, *, as_of: date, model_version: str, data_version: int
) -> dict[str, Any] | None:
    """Return where a fit of the same model and log for the same day was stopped, or None."""
    query = select(Fit.payload).where(
        Fit.model_version == model_version + UNFINISHED,
        Fit.as_of == as_of,
        Fit.data_version == data_version,
    )
    return session.scalar(query.order_by(Fit.id.desc()).limit(1))


def drop_unfinished(session: Session) -> None:
    """Forget where fits were stopped."""
    session.execute(delete(Fit).where(Fit.model_version.like(f"%{UNFINISHED}")))


@cache
def forecast_query() -> Select[Any]:
    """Select the columns of `forecast.frames.FORECAST` in their order, pairs and wearers joined.

    Add conditions on the tables' columns, order and limit to it. These are the hot reads, so it is
    tables all through: objects of the mapper would double what a read costs.
    """
    ids = {"pair_id": _PAIRS.c.pair_id, "sole_id": _SOLES.c.sole_id}
    columns = [ids[c.name] if c.name in ids else _ROWS.c[c.name] for c in FORECAST]
    return select(*columns).select_from(
        _ROWS.join(_PAIRS, _ROWS.c.pair_pk == _PAIRS.c.id)
        .join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id)
        .outerjoin(_SOLES, _ROWS.c.sole_pk == _SOLES.c.id)
    )


def load_forecasts(session: Session, wearer_ids: Collection[str] | None = None) -> pd.DataFrame:
    """Read the stored forecasts as a frame with the columns of `forecast.frames.FORECAST`."""
    query = forecast_query().order_by(Pair.pair_id, ForecastRow.id)
    if wearer_ids is not None:
        query = query.where(Wearer.wearer_id.in_(list(wearer_ids)))
    return frame_of_rows(session.execute(query).all(), FORECAST)
