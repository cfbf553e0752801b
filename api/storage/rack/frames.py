"""Frames from rows: how do rows become frames that the model can trust, quickly?

The only bridge from the database to `forecast.log.WearLog`. Rows are read with plain selects, not
as objects, and dates become NumPy's in one step.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import ColumnElement, Select, String, select, type_coerce
from sqlalchemy.orm import Session

from solespan.api.storage.tables.rack import LOGGED, Pair, Wearer
from solespan.forecast.frames import TABLES, Column
from solespan.forecast.log import WearLog, wear_log

__all__ = ["frame_of_rows", "load_frames", "load_rows", "load_wear_log", "nameless", "trusted_log"]

IDS_PER_QUERY = 500
_PK = Column("pk", "integer", "number of the row")
_KEYS = {"wearer_id": Wearer.wearer_id, "pair_id": Pair.pair_id}


def load_wear_log(session: Session, wearer_ids: Collection[str] | None = None) -> WearLog:
    """Read everything that was logged, or what belongs to some wearers, as a checked log."""
    # Unordered: the contract's own check sorts every frame.
    frames = {
        name: load_rows(session, name, by="wearer_id", ids=wearer_ids, ordered=False)
        for name in TABLES
    }
    return wear_log(**frames)


def trusted_log(session: Session, wearer_ids: Collection[str]) -> WearLog:
    """Read the log of some wearers without checking it again: the database's constraints hold.

    Checking costs more than the forecast itself, and this is done at every wear day logged.
    """
    return WearLog(**load_frames(session, wearer_ids))


def nameless(log: WearLog) -> WearLog:
    """Give a log for other machines: no forecast needs names and addresses of people."""
    return replace(log, wearers=log.wearers.assign(name=None, email=None))


def load_frames(
    session: Session, wearer_ids: Collection[str] | None = None
) -> dict[str, pd.DataFrame]:
    """Read the six tables as frames with the columns and order of `forecast.frames.TABLES`.

    Dates are `datetime64[s]`, missing numbers NaN, missing text None; rows are sorted by key.
    """
    return {name: load_rows(session, name, by="wearer_id", ids=wearer_ids) for name in TABLES}


def load_rows(
    session: Session,
    name: str,
    *,
    by: str,
    ids: Collection[str] | None,
    with_pk: bool = False,
    ordered: bool = True,
) -> pd.DataFrame:
    """Read one table, or its rows whose `by` is among `ids`.

    Parameters
    ----------
    by : str
        `wearer_id`, `pair_id`, or the table's own text id.
    ids : collection of str, optional
        The text ids wanted; every row when None.
    with_pk : bool
        Whether the frame also has the row's number, as the column `pk`.
    ordered : bool
        Whether rows are sorted by key.
    """
    table = TABLES[name]
    if ids is not None and not ids:
        return _no_rows(name).copy() if with_pk else _no_rows(name).drop(columns="pk")
    mapped = LOGGED[name]
    on_sqlite = session.get_bind().dialect.name == "sqlite"
    columns = [_selected(name, column, as_text=on_sqlite) for column in table.stored]
    query: Select[Any] = select(*columns, mapped.id).select_from(mapped)
    if name not in ("wearers", "pairs"):
        query = query.join(Pair, mapped.pair_pk == Pair.id)  # type: ignore[union-attr]
    if name == "pairs" or (by == "wearer_id" and name != "wearers" and ids is not None):
        query = query.join(Wearer, Pair.wearer_pk == Wearer.id)
    if ids is None:
        rows: Sequence[Any] = session.execute(query).all()
    else:
        key: Any = _KEYS[by] if by in _KEYS else mapped.__table__.c[by]
        wanted = sorted(set(ids))
        rows = []
        for start in range(0, len(wanted), IDS_PER_QUERY):
            part = wanted[start : start + IDS_PER_QUERY]
            rows.extend(session.execute(query.where(key.in_(part))).all())
    frame = frame_of_rows(rows, (*table.stored, _PK))
    if ordered and len(frame) > 1:
        frame = frame.sort_values(list(table.key), kind="stable", ignore_index=True)
    return frame.astype({"pk": "int64"}) if with_pk else frame.drop(columns="pk")


@cache
def _no_rows(name: str) -> pd.DataFrame:
    return frame_of_rows([], (*TABLES[name].stored, _PK)).astype({"pk": "int64"})


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
