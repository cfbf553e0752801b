"""Frames from rows: how do rows become frames that the model can trust, quickly?

The only bridge from the database to `forecast.log.WearLog`. Rows are read with plain selects, not
as objects, and dates become NumPy's in one step.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import cache
from operator import itemgetter
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import (
    ColumnElement,
    FromClause,
    Select,
    String,
    Table,
    bindparam,
    select,
    type_coerce,
)
from sqlalchemy.orm import Session

from solespan.api.storage.tables.rack import LOGGED
from solespan.forecast.frames import TABLES, Column
from solespan.forecast.log import LogColumns, WearLog, wear_log

__all__ = [
    "frame_of_rows",
    "load_frames",
    "load_rows",
    "load_wear_log",
    "log_of",
    "nameless",
    "trusted_columns",
    "trusted_log",
]

IDS_PER_QUERY = 500
_PK = Column("pk", "key", "number of the row")
_TABLES: dict[str, Table] = {name: mapped.__table__ for name, mapped in LOGGED.items()}  # type: ignore[misc]
_PAIRS, _WEARERS = _TABLES["pairs"], _TABLES["wearers"]
_KEYS = {"wearer_id": _WEARERS.c.wearer_id, "pair_id": _PAIRS.c.pair_id}


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
    return log_of(trusted_columns(session, wearer_ids))


def log_of(columns: LogColumns) -> WearLog:
    """Make frames of the arrays of a log that the database has checked."""
    return WearLog(**{name: _frame(getattr(columns, name)) for name in TABLES})


def trusted_columns(session: Session, wearer_ids: Collection[str]) -> LogColumns:
    """Read the same as arrays: of one wearer's few rows, frames cost more than the forecast."""
    return LogColumns(
        **{
            name: _arrays(_stored_rows(session, name, "wearer_id", wearer_ids), TABLES[name].stored)
            for name in TABLES
        }
    )


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
    columns = (*TABLES[name].stored, _PK) if with_pk else TABLES[name].stored
    rows = _stored_rows(session, name, by, ids, with_pk=with_pk, ordered=ordered)
    return frame_of_rows(rows, columns)


def _stored_rows(
    session: Session,
    name: str,
    by: str,
    ids: Collection[str] | None,
    *,
    with_pk: bool = False,
    ordered: bool = True,
) -> list[Any]:
    query = _query(name, by if ids is not None else "", _on_sqlite(session), with_pk)
    rows: list[Any] = []
    if ids is None:
        rows = list(session.execute(query).all())
    else:
        wanted = sorted(set(ids))
        for start in range(0, len(wanted), IDS_PER_QUERY):
            some = wanted[start : start + IDS_PER_QUERY]
            rows.extend(session.execute(query, {"some": some}).all())
    if ordered:
        names = [column.name for column in TABLES[name].stored]
        rows.sort(key=itemgetter(*(names.index(key) for key in TABLES[name].key)))
    return rows


def _on_sqlite(session: Session) -> bool:
    return session.get_bind().dialect.name == "sqlite"


@cache
def _query(name: str, by: str, as_text: bool, with_pk: bool) -> Select[Any]:
    """Build the statement once; it is of tables, as objects of the mapper would cost twice."""
    table = _TABLES[name]
    source: FromClause = table
    if name not in ("wearers", "pairs"):
        source = source.join(_PAIRS, table.c.pair_pk == _PAIRS.c.id)
    if name == "pairs" or (by == "wearer_id" and name != "wearers"):
        source = source.join(_WEARERS, _PAIRS.c.wearer_pk == _WEARERS.c.id)
    columns = [_selected(name, column, as_text=as_text) for column in TABLES[name].stored]
    query = select(*columns, *([table.c.id] if with_pk else [])).select_from(source)
    if not by:
        return query
    key = _KEYS[by] if by in _KEYS else table.c[by]
    return query.where(key.in_(bindparam("some", expanding=True)))


def _selected(name: str, column: Column, *, as_text: bool) -> ColumnElement[Any]:
    """Pick the column; a reference to another table's row is given as that row's text id."""
    if column.name in _KEYS:
        return _KEYS[column.name]
    found: ColumnElement[Any] = _TABLES[name].c[column.name]
    # SQLite keeps dates as ISO text, which NumPy reads faster than SQLAlchemy makes objects.
    return type_coerce(found, String) if as_text and column.kind == "date" else found


def frame_of_rows(rows: Sequence[Any], columns: Sequence[Column]) -> pd.DataFrame:
    """Make a frame of tuples; dates may be ISO text or `date`.

    Returns a frame with one column per entry of `columns`, in that order.
    """
    return _frame(_arrays(rows, columns))


def _frame(columns: Mapping[str, np.ndarray]) -> pd.DataFrame:
    # An array of texts would be taken for another kind of text, and a series costs twice.
    return pd.DataFrame(
        {
            name: pd.Index(values, dtype=object) if values.dtype == object else values
            for name, values in columns.items()
        },
        copy=False,
    )


def _arrays(rows: Sequence[Any], columns: Sequence[Column]) -> dict[str, np.ndarray]:
    by_column = list(zip(*rows, strict=True)) if rows else [()] * len(columns)
    return {
        column.name: _values(values, column.kind)
        for column, values in zip(columns, by_column, strict=True)
    }


def _values(values: Sequence[Any], kind: str) -> np.ndarray:
    if kind == "date":
        return np.array(values, dtype="datetime64[D]").astype("datetime64[s]")
    if kind in ("number", "integer"):
        return np.array(values, dtype="float64")
    if kind == "key":
        return np.array(values, dtype="int64")
    if kind == "flag":
        return np.array(values, dtype=bool)
    return np.array(values, dtype=object)
