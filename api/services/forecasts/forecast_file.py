"""Forecast file service: how is a forecast frame written as the forecast file?"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pandas as pd

from solespan.api.errors import BadSetting
from solespan.api.services.interchange.formulas import guard
from solespan.forecast.frames import FORECAST

__all__ = ["forecast_csv", "write_forecast_file"]

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


def write_forecast_file(frame: pd.DataFrame, path: Path) -> None:
    """Write the forecast file to `path` in one step; `-` is standard output.

    Raises `BadSetting` when the file cannot be written.
    """
    text = forecast_csv(frame)
    if path == Path("-"):
        sys.stdout.write(text)
        return
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        unfinished.write_text(text, encoding="utf-8", newline="")
        unfinished.replace(path)
    except OSError as cause:
        unfinished.unlink(missing_ok=True)
        raise BadSetting(
            f"The forecast file cannot be written: {cause.strerror}.",
            where=str(path),
            accepted="a file in a folder that exists and can be written to",
            remedy="Give another path with --csv.",
        ) from cause
