"""Order and time axis.

In which order do pairs stand, and how far does their shared time axis reach?
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from solespan.forecast.frames import PROBABLY_GONE

__all__ = [
    "AT_REST",
    "PAST_DAYS",
    "axis_end",
    "foot_rows",
    "label_of",
    "pair_rows",
]

PAST_DAYS = 30
LEAST_SPAN_DAYS = 365
AT_REST = ("away", "retired")


def pair_rows(forecast: pd.DataFrame) -> pd.DataFrame:
    """Take the resole row of every pair, soonest send-by date first.

    Rows without a send-by date (beyond the horizon) follow, by their earliest likely date. Pairs
    that are probably gone come after them, then those away, and retired ones last. Ties stand by
    pair_id, so the order is fixed.
    """
    rows = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    gone = (rows["chance_in_use"].astype(float) < PROBABLY_GONE).astype(int)
    rank = rows["band"].map({band: i + 2 for i, band in enumerate(AT_REST)}).fillna(gone)
    ordered = rows.assign(_rank=rank.astype(int)).sort_values(
        ["_rank", "send_by", "due_p10", "due_p05", "pair_id"], na_position="last", kind="stable"
    )
    return ordered.drop(columns="_rank").reset_index(drop=True)


def foot_rows(forecast: pd.DataFrame) -> dict[str, dict[str, dict[str, Any]]]:
    """Take the rows of each foot's ball, by pair and foot."""
    rows = forecast[(forecast["point"] == "ball") & forecast["foot"].isin(("left", "right"))]
    out: dict[str, dict[str, dict[str, Any]]] = {}
    for row in rows.to_dict("records"):
        by_foot = out.setdefault(str(row["pair_id"]), {})
        by_foot[str(row["foot"])] = {str(column): value for column, value in row.items()}
    return out


def label_of(pairs: pd.DataFrame) -> dict[str, str]:
    """Name every pair by its label, or by its identifier where it has none."""
    return {
        str(pair_id): str(label) if isinstance(label, str) and label.strip() else str(pair_id)
        for pair_id, label in zip(pairs["pair_id"], pairs["label"], strict=True)
    }


def axis_end(rows: pd.DataFrame, today: pd.Timestamp) -> pd.Timestamp:
    """Choose the last day of the shared axis: nine of ten known intervals fit, a year at least."""
    ends = rows["due_p90"].dropna()
    least = today + pd.Timedelta(days=LEAST_SPAN_DAYS)
    if ends.empty:
        return least
    late: Any = ends.quantile(0.9)
    far = pd.Timestamp(late).normalize()
    return max(least, far + (far - today) * 0.05).normalize()
