"""Forecast writes: how do new forecasts take the place of old ones, for one wearer or thousands?

Many rows reach PostgreSQL by COPY, in a table that ends with the transaction; one statement then
puts them in place. Row-level security allows no COPY into the table itself.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any, cast

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.rack import Pair, Sole, Wearer
from solespan.api.storage.tables.results import Fit, ForecastRow
from solespan.forecast.frames import FORECAST

__all__ = ["replace_forecasts"]

COPY_FROM_ROWS = 200
ROWS_PER_STATEMENT = 5000
_ROWS = cast("sa.Table", ForecastRow.__table__)
_OWN = ("pair_pk", "sole_pk", "fit_pk", "data_version")
_TOLD = tuple(c for c in FORECAST if c.name not in ("pair_id", "sole_id"))
_NAMES = (*_OWN, *(c.name for c in _TOLD))
_STAGE = sa.table("forecasts_to_come", *(sa.column(n, _ROWS.c[n].type) for n in _NAMES))
_LISTED = ", ".join(_NAMES)
_MAKE_STAGE = (
    f"CREATE TEMPORARY TABLE {_STAGE.name} ON COMMIT DROP AS "  # noqa: S608 - our own names
    f"SELECT {_LISTED} FROM forecasts WITH NO DATA"
)


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
    if len(rows) >= COPY_FROM_ROWS and session.get_bind().dialect.name == "postgresql":
        _copy(session, rows)
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


def _copy(session: Session, rows: list[tuple[Any, ...]]) -> None:
    connection = session.connection()
    connection.exec_driver_sql(_MAKE_STAGE)
    driver: Any = connection.connection.driver_connection
    into = f"COPY {_STAGE.name} ({_LISTED}) FROM STDIN"
    with driver.cursor() as cursor, cursor.copy(into) as copy:
        for row in rows:
            copy.write_row(row)
    connection.execute(sa.insert(_ROWS).from_select(_NAMES, sa.select(*_STAGE.c)))
    connection.exec_driver_sql(f"DROP TABLE {_STAGE.name}")
