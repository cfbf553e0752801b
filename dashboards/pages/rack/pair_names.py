"""Pair names: by which name does a list call each pair, so that no two have the same?"""

from __future__ import annotations

from collections import Counter

import pandas as pd

from solespan.dashboards.order import label_of

__all__ = ["distinct_names"]

# What tells pairs of one name apart, the best first.
APART = ("maker", "colour", "last", "size_eu", "acquired_on")


def distinct_names(pairs: pd.DataFrame) -> dict[str, str]:
    """Name every pair by its label, with what tells it apart where others have the same."""
    names = label_of(pairs)
    for column in [*(name for name in APART if name in pairs), "pair_id"]:
        often = Counter(names.values())
        if len(often) == len(names):
            break
        for pair_id, value in zip(pairs["pair_id"], pairs[column], strict=True):
            name = names[str(pair_id)]
            if often[name] > 1 and not pd.isna(value) and name != str(pair_id):
                names[str(pair_id)] = f"{name}, {_said(value)}"
    return names


def _said(value: object) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    return f"size {value:g}" if isinstance(value, float) else str(value)
