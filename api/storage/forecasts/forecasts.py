"""Forecasts storage: how are fits and forecasts kept, replaced and read?

Rows of `forecasts` have the columns of `forecast.frames.FORECAST`; the text ids come from a join.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from functools import cache
from typing import Any, cast

import pandas as pd
from sqlalchemy import Select, Table, delete, insert, select
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
    "replace_forecasts",
    "save_fit",
    "unfinished_fit",
]

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


def replace_forecasts(
    session: Session,
    frame: pd.DataFrame,
    *,
    wearer_ids: Collection[str] | None = None,
    fit: Fit | None = None,
) -> int:
    """Put a forecast frame in the place of the old rows; return how many rows were written.

    Parameters
    ----------
    frame : DataFrame
        Columns `forecast.frames.FORECAST`; rows of pairs that are not stored are an error.
    wearer_ids : collection of str, optional
        Whose old rows go; all wearers when None. Name every wearer that `frame` was made for.
    fit : Fit, optional
        The fit that the forecast leans on.
    """
    pairs = select(Pair.pair_id, Pair.id, Wearer.data_version).join(Pair.wearer)
    old = delete(ForecastRow)
    if wearer_ids is not None:
        pairs = pairs.where(Wearer.wearer_id.in_(list(wearer_ids)))
        old = old.where(
            ForecastRow.pair_pk.in_(
                select(Pair.id).join(Pair.wearer).where(Wearer.wearer_id.in_(list(wearer_ids)))
            )
        )
    known = {row.pair_id: (row.id, row.data_version) for row in session.execute(pairs)}
    fitted = select(Sole.sole_id, Sole.id)
    if wearer_ids is not None:
        mine = fitted.join(Sole.pair).join(Pair.wearer)
        fitted = mine.where(Wearer.wearer_id.in_(list(wearer_ids)))
    soles = {row.sole_id: row.id for row in session.execute(fitted)}
    session.execute(old, execution_options={"synchronize_session": False})
    rows = [
        _stored(record, known, soles, fit.id if fit else None)
        for record in frame.to_dict(orient="records")
    ]
    if rows:
        session.execute(insert(cast("Table", ForecastRow.__table__)), rows)
    return len(rows)


def _stored(
    record: dict[Any, Any],
    pairs: dict[str, tuple[int, int]],
    soles: dict[str, int],
    fit_pk: int | None,
) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for column in FORECAST:
        value = record.get(column.name)
        if value is None or value is pd.NaT or value != value:  # noqa: PLR0124 - NaN
            value = None
        elif column.kind == "date":
            value = pd.Timestamp(value).date()
        elif column.kind == "number":
            value = float(value)
        out[column.name] = value
    pair_pk, data_version = pairs[out.pop("pair_id")]
    sole_id = out.pop("sole_id")
    return {
        **out,
        "pair_pk": pair_pk,
        "sole_pk": soles.get(sole_id) if sole_id is not None else None,
        "fit_pk": fit_pk,
        "data_version": data_version,
    }


@cache
def forecast_query() -> Select[Any]:
    """Select the columns of `forecast.frames.FORECAST` in their order, pairs and wearers joined.

    Add conditions on the tables' columns, order and limit to it. These are the hot reads, so it is
    tables all through: objects of the mapper would double what a read costs.
    """
    table, pairs, wearers, soles = (
        cast("Table", mapped.__table__) for mapped in (ForecastRow, Pair, Wearer, Sole)
    )
    ids = {"pair_id": pairs.c.pair_id, "sole_id": soles.c.sole_id}
    columns = [ids[c.name] if c.name in ids else table.c[c.name] for c in FORECAST]
    return select(*columns).select_from(
        table.join(pairs, table.c.pair_pk == pairs.c.id)
        .join(wearers, pairs.c.wearer_pk == wearers.c.id)
        .outerjoin(soles, table.c.sole_pk == soles.c.id)
    )


def load_forecasts(session: Session, wearer_ids: Collection[str] | None = None) -> pd.DataFrame:
    """Read the stored forecasts as a frame with the columns of `forecast.frames.FORECAST`."""
    query = forecast_query().order_by(Pair.pair_id, ForecastRow.id)
    if wearer_ids is not None:
        query = query.where(Wearer.wearer_id.in_(list(wearer_ids)))
    return frame_of_rows(session.execute(query).all(), FORECAST)
