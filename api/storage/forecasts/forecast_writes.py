"""Forecast writes: how do new forecasts take the place of old ones, for one wearer or thousands?"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any, cast

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.rack.copied_rows import copied, is_copied
from solespan.api.storage.tables.rack import Pair, Sole, Wearer
from solespan.api.storage.tables.results import Fit, ForecastRow
from solespan.forecast.frames import FORECAST

__all__ = ["replace_forecasts"]

ROWS_PER_STATEMENT = 5000
_ROWS = cast("sa.Table", ForecastRow.__table__)
_OWN = ("pair_pk", "sole_pk", "fit_pk", "data_version")
_TOLD = tuple(c for c in FORECAST if c.name not in ("pair_id", "sole_id"))
_NAMES = (*_OWN, *(c.name for c in _TOLD))


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
    pairs = sa.select(Pair.pair_id, Pair.id, Wearer.data_version).join(Pair.wearer)
    soles = sa.select(Sole.sole_id, Sole.id)
    old = sa.delete(ForecastRow)
    if wearer_ids is not None:
        mine = Wearer.wearer_id.in_(list(wearer_ids))
        pairs = pairs.where(mine)
        soles = soles.join(Sole.pair).join(Pair.wearer).where(mine)
        old = old.where(ForecastRow.pair_pk.in_(sa.select(Pair.id).join(Pair.wearer).where(mine)))
    known = {row.pair_id: (row.id, row.data_version) for row in session.execute(pairs)}
    fitted = {row.sole_id: row.id for row in session.execute(soles)}
    session.execute(old, execution_options={"synchronize_session": False})
    rows = list(_rows(frame, known, fitted, fit.id if fit else None))
    if is_copied(session, len(rows)):
        copied(session, _ROWS, _NAMES, rows)
        return len(rows)
    for start in range(0, len(rows), ROWS_PER_STATEMENT):
        part = rows[start : start + ROWS_PER_STATEMENT]
        session.execute(sa.insert(_ROWS), [dict(zip(_NAMES, row, strict=True)) for row in part])
    return len(rows)


def _rows(
    frame: pd.DataFrame,
    pairs: dict[str, tuple[int, int]],
    soles: dict[str, int],
    fit_pk: int | None,
) -> Iterator[tuple[Any, ...]]:
    """Yield what is stored of each row, in the order of `_NAMES`."""
    frame = frame.reindex(columns=[column.name for column in FORECAST])
    told = [_values(frame[column.name], column.kind) for column in _TOLD]
    ids = zip(frame["pair_id"], frame["sole_id"], strict=True)
    for (pair_id, sole_id), values in zip(ids, zip(*told, strict=True), strict=True):
        pair_pk, data_version = pairs[pair_id]
        yield pair_pk, soles.get(sole_id), fit_pk, data_version, *values


def _values(column: pd.Series, kind: str) -> list[Any]:
    """Return Python's own values, None where one is missing."""
    if kind == "date":
        days = pd.to_datetime(column).to_numpy().astype("datetime64[D]")
        return list(days.astype(object))
    if kind == "number":
        column = column.astype(float)
    return list(column.astype(object).where(column.notna(), None))
