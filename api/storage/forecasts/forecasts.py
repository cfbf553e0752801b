"""Forecasts storage: how are fits and forecasts kept, replaced and read?

Rows of `forecasts` have the columns of `forecast.frames.FORECAST`; the text ids come from a join.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from functools import cache
from typing import Any, cast

import pandas as pd
from sqlalchemy import BindParameter, Select, Table, bindparam, delete, insert, select
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
    some = None if wearer_ids is None else list(wearer_ids)
    given = {} if some is None else {"some": some}
    pairs = session.execute(_pairs_query(some is None), given)
    known = {pair_id: (pk, data_version) for pair_id, pk, data_version in pairs}
    soles = {row[0]: row[1] for row in session.execute(_soles_query(some is None), given)}
    if some is None:
        session.execute(delete(_ROWS))
    pks = [pk for pk, _ in known.values()]
    for start in range(0, 0 if some is None else len(pks), IDS_PER_QUERY):
        session.execute(
            delete(_ROWS).where(_ROWS.c.pair_pk.in_(pks[start : start + IDS_PER_QUERY]))
        )
    rows = _stored(frame, known, soles, fit.id if fit else None)
    if rows:
        session.execute(insert(_ROWS), rows)
    return len(rows)


@cache
def _pairs_query(everyone: bool) -> Select[Any]:
    query = select(_PAIRS.c.pair_id, _PAIRS.c.id, _WEARERS.c.data_version)
    query = query.select_from(_PAIRS.join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id))
    return query if everyone else query.where(_WEARERS.c.wearer_id.in_(_some()))


@cache
def _soles_query(everyone: bool) -> Select[Any]:
    query = select(_SOLES.c.sole_id, _SOLES.c.id)
    if everyone:
        return query
    owned = _SOLES.join(_PAIRS, _SOLES.c.pair_pk == _PAIRS.c.id)
    query = query.select_from(owned.join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id))
    return query.where(_WEARERS.c.wearer_id.in_(_some()))


def _some() -> BindParameter[Any]:
    return bindparam("some", expanding=True)


def _stored(
    frame: pd.DataFrame,
    pairs: dict[str, tuple[int, int]],
    soles: dict[str, int],
    fit_pk: int | None,
) -> list[dict[str, Any]]:
    """Make the rows of a forecast frame, a column at a time: each is of one kind."""
    nothing = pd.Series([None] * len(frame), dtype=object)
    values = {c.name: _column(frame.get(c.name, nothing), c.kind) for c in FORECAST}
    owners = [pairs[pair_id] for pair_id in values.pop("pair_id")]
    values["sole_pk"] = [soles.get(sole_id) for sole_id in values.pop("sole_id")]
    names = (*values, "pair_pk", "data_version", "fit_pk")
    every = zip(*values.values(), *_turned(owners), [fit_pk] * len(owners), strict=True)
    return [dict(zip(names, row, strict=True)) for row in every]


def _turned(owners: list[tuple[int, int]]) -> tuple[list[int], list[int]]:
    return [pair_pk for pair_pk, _ in owners], [version for _, version in owners]


def _column(values: pd.Series[Any], kind: str) -> list[Any]:
    """Return the values of a column as the database takes them: None where nothing is known."""
    if kind == "date":
        return list(pd.to_datetime(values).to_numpy("datetime64[D]").astype(object))
    if kind == "number":
        return [None if number != number else number for number in values.to_numpy(float).tolist()]  # noqa: PLR0124 - NaN
    return [value if isinstance(value, str) else None for value in values]


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
