"""Points before the ball: of which pairs does the heel or the toe come to its end first?"""

from __future__ import annotations

from typing import Any

import pandas as pd

__all__ = ["REPAIRS", "points_before"]

REPAIRS = {"heel": "top piece", "toe": "toe piece"}  # what ends the wear of a point


def points_before(forecast: pd.DataFrame) -> dict[str, list[dict[str, Any]]]:
    """Take the heel and toe of each pair whose send-by date comes before the ball's, soonest first.

    A new sole brings a new heel, so what comes after it needs no repair of its own. Pairs away or
    retired have none.

    Parameters
    ----------
    forecast : DataFrame
        Columns `forecast.frames.FORECAST`.
    """
    rows = forecast[(forecast["foot"] == "pair") & ~forecast["band"].isin(("away", "retired"))]
    ball = rows[rows["point"] == "ball"]
    until = dict(zip(ball["pair_id"], ball["send_by"], strict=True))
    out: dict[str, list[dict[str, Any]]] = {}
    points = rows[rows["point"].isin(list(REPAIRS)) & rows["send_by"].notna()]
    for row in points.sort_values("send_by", kind="stable").to_dict("records"):
        named = {str(column): value for column, value in row.items()}
        of_ball: Any = until.get(named["pair_id"], pd.NaT)
        if pd.isna(of_ball) or named["send_by"] < of_ball:
            out.setdefault(str(named["pair_id"]), []).append(named)
    return out
