"""Forecast writes: how do new forecasts take the place of old ones, for one wearer or thousands?"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from functools import cache
from typing import Any, cast

import numpy as np
import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.rack.copied_rows import copied, is_copied
from solespan.api.storage.tables.rack import Pair, Sole, Wearer
from solespan.api.storage.tables.results import Fit, ForecastRow
from solespan.forecast.frames import FORECAST

__all__ = ["replace_forecasts"]

ROWS_PER_STATEMENT = 5000
IDS_PER_QUERY = 500
_ROWS, _PAIRS, _WEARERS, _SOLES = (
    cast("sa.Table", mapped.__table__) for mapped in (ForecastRow, Pair, Wearer, Sole)
)
_OWN = ("pair_pk", "sole_pk", "fit_pk", "data_version")
_TOLD = tuple(c for c in FORECAST if c.name not in ("pair_id", "sole_id"))
_NAMES = (*_OWN, *(c.name for c in _TOLD))


def replace_forecasts(
    session: Session,
    frame: pd.DataFrame | Mapping[str, np.ndarray],
    *,
    wearer_ids: Collection[str] | None = None,
    fit: Fit | None = None,
) -> int:
    """Put a forecast frame in the place of the old rows; return how many rows were written.

    Parameters
    ----------
    frame : DataFrame, or an array for each column
        Columns `forecast.frames.FORECAST`; rows of pairs that are not stored are an error.
    wearer_ids : collection of str, optional
        Whose old rows go; all wearers when None. Name every wearer that `frame` was made for.
    fit : Fit, optional
        The fit that the forecast leans on.
    """
    some = None if wearer_ids is None else list(wearer_ids)
    given = {} if some is None else {"some": some}
    known: dict[str, tuple[int, int]] = {}
    fitted: dict[str, int] = {}
    for pair_id, pk, data_version, sole_id, sole_pk in session.execute(
        _pks_query(some is None), given
    ):
        known[pair_id] = pk, data_version
        fitted[sole_id] = sole_pk
    if some is None:
        session.execute(sa.delete(_ROWS))
    pks = [pk for pk, _ in known.values()]
    for start in range(0, 0 if some is None else len(pks), IDS_PER_QUERY):
        old = _ROWS.c.pair_pk.in_(pks[start : start + IDS_PER_QUERY])
        session.execute(sa.delete(_ROWS).where(old))
    rows = list(_rows(frame, known, fitted, fit.id if fit else None))
    if is_copied(session, len(rows)):
        copied(session, _ROWS, _NAMES, rows)
        return len(rows)
    for start in range(0, len(rows), ROWS_PER_STATEMENT):
        part = rows[start : start + ROWS_PER_STATEMENT]
        session.execute(sa.insert(_ROWS), [dict(zip(_NAMES, row, strict=True)) for row in part])
    return len(rows)


@cache
def _pks_query(everyone: bool) -> sa.Select[Any]:
    """Build the statement for numbers of pairs and their soles; of a pair without one too."""
    query = sa.select(
        _PAIRS.c.pair_id, _PAIRS.c.id, _WEARERS.c.data_version, _SOLES.c.sole_id, _SOLES.c.id
    )
    owned = _PAIRS.join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id)
    query = query.select_from(owned.outerjoin(_SOLES, _SOLES.c.pair_pk == _PAIRS.c.id))
    if everyone:
        return query
    return query.where(_WEARERS.c.wearer_id.in_(sa.bindparam("some", expanding=True)))


def _rows(
    frame: pd.DataFrame | Mapping[str, np.ndarray],
    pairs: dict[str, tuple[int, int]],
    soles: dict[str, int],
    fit_pk: int | None,
) -> Iterator[tuple[Any, ...]]:
    """Yield what is stored of each row, in the order of `_NAMES`."""
    if not len(frame):
        return
    if isinstance(frame, pd.DataFrame):
        frame = frame.reindex(columns=[column.name for column in FORECAST])
    told = [_values(frame[column.name], column.kind) for column in _TOLD]
    ids = zip(frame["pair_id"], frame["sole_id"], strict=True)
    for (pair_id, sole_id), values in zip(ids, zip(*told, strict=True), strict=True):
        pair_pk, data_version = pairs[pair_id]
        yield pair_pk, soles.get(sole_id), fit_pk, data_version, *values


def _values(values: pd.Series[Any] | np.ndarray, kind: str) -> list[Any]:
    """Return the values of a column as the database takes them: None where nothing is known."""
    if kind == "date":
        days = np.asarray(values if isinstance(values, np.ndarray) else pd.to_datetime(values))
        return list(days.astype("datetime64[D]").astype(object))
    if kind == "number":
        numbers = np.asarray(values, dtype=float).tolist()
        return [None if number != number else number for number in numbers]  # noqa: PLR0124 - NaN
    return [value if isinstance(value, str) else None for value in values]
