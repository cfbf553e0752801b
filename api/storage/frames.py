"""How do rows become frames that the model can trust, quickly?

The only bridge from the database to `forecast.log.WearLog`. Rows are read with plain selects, not
as objects, and dates become NumPy's in one step.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import ColumnElement, Select, String, select, type_coerce
from sqlalchemy.orm import Session

from api.storage.tables import LOGGED, Pair, Wearer
from forecast.frames import TABLES, Column
from forecast.log import WearLog, wear_log

__all__ = ["frame_of_rows", "load_frames", "load_wear_log"]


def load_wear_log(session: Session, wearer_ids: Collection[str] | None = None) -> WearLog:
    """Read everything that was logged, or what belongs to some wearers, as a checked log."""
    return wear_log(**load_frames(session, wearer_ids))


def load_frames(
    session: Session, wearer_ids: Collection[str] | None = None
) -> dict[str, pd.DataFrame]:
    """Read the six tables as frames with the columns and order of `forecast.frames.TABLES`.

    Dates are `datetime64[s]`, missing numbers NaN, missing text None; rows are sorted by key.
    """
    return {name: _load(session, name, wearer_ids) for name in TABLES}


def _load(session: Session, name: str, wearer_ids: Collection[str] | None) -> pd.DataFrame:
    table = TABLES[name]
    on_sqlite = session.get_bind().dialect.name == "sqlite"
    columns = [_selected(name, column, as_text=on_sqlite) for column in table.stored]
    query: Select[Any] = select(*columns).select_from(LOGGED[name])
    if name == "pairs":
        query = query.join(Wearer, Pair.wearer_pk == Wearer.id)
    elif name != "wearers":
        query = query.join(Pair, LOGGED[name].pair_pk == Pair.id)  # type: ignore[union-attr]
    if wearer_ids is None:
        rows: Sequence[Any] = session.execute(query).all()
    else:
        if name not in ("wearers", "pairs"):
            query = query.join(Wearer, Pair.wearer_pk == Wearer.id)
        rows = []
        wanted = sorted(wearer_ids)
        for start in range(0, len(wanted), 500):
            part = wanted[start : start + 500]
            rows.extend(session.execute(query.where(Wearer.wearer_id.in_(part))).all())
    frame = frame_of_rows(rows, table.stored)
    return frame.sort_values(list(table.key), kind="stable", ignore_index=True)


def _selected(name: str, column: Column, *, as_text: bool) -> ColumnElement[Any]:
    """Pick the column; a reference to another table's row is given as that row's text id."""
    if column.name == "wearer_id":
        return Wearer.wearer_id.expression
    if column.name == "pair_id":
        return Pair.pair_id.expression
    found: ColumnElement[Any] = LOGGED[name].__table__.c[column.name]
    # SQLite keeps dates as ISO text, which NumPy reads faster than SQLAlchemy makes objects.
    return type_coerce(found, String) if as_text and column.kind == "date" else found


def frame_of_rows(rows: Sequence[Any], columns: Sequence[Column]) -> pd.DataFrame:
    """Make a frame of tuples; dates may be ISO text or `date`.

    Returns a frame with one column per entry of `columns`, in that order.
    """
    by_column = list(zip(*rows, strict=True)) if rows else [()] * len(columns)
    return pd.DataFrame(
        {
            column.name: _series(values, column.kind)
            for column, values in zip(columns, by_column, strict=True)
        }
    )


def _series(values: Sequence[Any], kind: str) -> pd.Series[Any]:
    if kind == "date":
        return pd.Series(np.array(values, dtype="datetime64[D]").astype("datetime64[s]"))
    if kind in ("number", "integer"):
        return pd.Series(np.array(values, dtype="float64"))
    if kind == "flag":
        return pd.Series(np.array(values, dtype=bool))
    return pd.Series(values, dtype=object)
