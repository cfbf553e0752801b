"""Parquet service: how do the tables of the log become Parquet files with types and units?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from solespan.api.errors import Refused
from solespan.api.schemas.fields import unit_of
from solespan.forecast.frames import Column, Table

__all__ = ["can_write_parquet", "write_parquet"]


def can_write_parquet() -> bool:
    """Whether the library that writes Parquet is installed."""
    try:
        import pyarrow as pa  # noqa: F401, PLC0415
    except ImportError:
        return False
    return True


def write_parquet(table: Table, frame: pd.DataFrame, path: Path) -> None:
    """Write one table; each column says its meaning and unit. Raises `Refused` without pyarrow."""
    try:
        import pyarrow as pa  # noqa: PLC0415
        from pyarrow import parquet  # noqa: PLC0415
    except ImportError:
        raise Refused(
            "Parquet needs the library pyarrow, which is not installed.",
            where="parquet",
            accepted="csv, zip or xlsx",
            remedy="Install it: pip install 'solespan[parquet]'",
        ) from None
    kinds: dict[str, Any] = {
        "date": pa.date32(),
        "number": pa.float64(),
        "integer": pa.int64(),
        "flag": pa.bool_(),
    }
    fields = [
        pa.field(
            column.name,
            kinds.get(column.kind, pa.string()),
            metadata={"description": column.meaning, "unit": unit_of(column)},
        )
        for column in table.stored
    ]
    arrays = [
        pa.array(_values(frame[column.name], column), type=field.type)
        for column, field in zip(table.stored, fields, strict=True)
    ]
    parquet.write_table(pa.Table.from_arrays(arrays, schema=pa.schema(fields)), path)


def _values(values: pd.Series[Any], column: Column) -> list[Any]:
    if column.kind == "date":
        days = pd.to_datetime(values)
        plain: list[Any] = days.dt.date.tolist()
    elif column.kind == "integer":
        plain = [None if pd.isna(v) else int(v) for v in values.tolist()]
    else:
        plain = values.tolist()
    return [None if pd.isna(v) else v for v in plain]
