"""Preview of a translation: what do the first rows say, in words?"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from solespan.api.services.importing.sheets.cells.words import say

__all__ = ["preview_of"]

ROWS = 10


def preview_of(tables: Mapping[str, pd.DataFrame]) -> dict[str, list[str]]:
    """Write the first ten rows of each table as `column: value` in words."""
    return {
        name: [
            ", ".join(f"{_title(column)} {_value(text)}" for column, text in row.items() if text)
            for row in frame.head(ROWS).to_dict("records")
        ]
        for name, frame in tables.items()
    }


def _title(column: object) -> str:
    name = say(str(column))
    return name.removesuffix(" id") if name.endswith(" id") else name


def _value(text: str) -> str:
    return say(text) if text.replace("_", "").isalpha() else text.replace("\n", " / ")
