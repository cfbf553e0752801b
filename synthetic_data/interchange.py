"""Interchange files.

How are frames spelt in interchange files: ISO dates, true and false, empty where unknown?
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

__all__ = ["as_text"]


def as_text(frames: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Turn every cell into the text a file would hold; what is text already stays as it is.

    Numbers are written in the shortest form that reads back the same, whole ones without a point.
    """
    return {
        name: pd.DataFrame({c: _spelt(frame[c]) for c in frame.columns}, dtype=object)
        for name, frame in frames.items()
    }


def _spelt(values: pd.Series) -> pd.Series:
    if pd.api.types.is_datetime64_dtype(values):
        text = values.dt.strftime("%Y-%m-%d")
    elif pd.api.types.is_bool_dtype(values):
        text = values.map({True: "true", False: "false"})
    elif pd.api.types.is_float_dtype(values):
        text = values.map(lambda x: repr(float(x)).removesuffix(".0"), na_action="ignore")
    else:
        text = values.astype(object)
    words: pd.Series = text.astype(object)
    return words.where(words.notna(), "")
