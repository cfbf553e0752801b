"""Forecast file service: how do a forecast and its explanation become a file or a document?"""

from __future__ import annotations

from typing import Any

import pandas as pd

from solespan.api.services.interchange.formulas import guard
from solespan.forecast import Explanation
from solespan.forecast.frames import FORECAST

__all__ = ["explanation_body", "forecast_csv", "forecast_rows"]

TEXT_KINDS = ("id", "text", "word")


def forecast_csv(frame: pd.DataFrame) -> str:
    """Return the forecast file: the columns of `frames.FORECAST`, ISO dates, empty = unknown.

    Numbers have six significant digits. A text that a spreadsheet could run is guarded.
    """
    out = pd.DataFrame(index=frame.index)
    for column in FORECAST:
        values = frame[column.name]
        if column.kind == "date":
            days = pd.to_datetime(values)
            out[column.name] = days.dt.strftime("%Y-%m-%d").where(days.notna(), "")
        elif column.kind in TEXT_KINDS:
            out[column.name] = ["" if pd.isna(text) else guard(str(text)) for text in values]
        else:
            numbers = pd.to_numeric(values)
            out[column.name] = ["" if pd.isna(number) else f"{number:.6g}" for number in numbers]
    return str(out.to_csv(index=False, lineterminator="\n"))


def forecast_rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return forecast rows as plain values: days as dates, what is not known as None."""
    rows = frame[[column.name for column in FORECAST]].astype(object)
    days = {column.name for column in FORECAST if column.kind == "date"}
    return [
        {
            str(name): None if pd.isna(value) else value.date() if name in days else value
            for name, value in row.items()
        }
        for row in rows.to_dict("records")
    ]


def explanation_body(explanation: Explanation) -> dict[str, Any]:
    """Return what drives a pair's date as JSON values."""
    return {
        "sentences": list(explanation.sentences),
        "drivers": _records(explanation.drivers, "driver", "note"),
        "next_checks": _records(explanation.next_checks, "foot", "point", "method"),
    }


def _records(frame: pd.DataFrame, *texts: str) -> list[dict[str, Any]]:
    """Return rows as JSON values: NaN is null, numbers are floats, `texts` are text."""
    by_column = (frame[name].tolist() for name in frame)
    return [
        {
            str(name): None if pd.isna(value) else str(value) if name in texts else float(value)
            for name, value in zip(frame, row, strict=True)
        }
        for row in zip(*by_column, strict=True)
    ]
