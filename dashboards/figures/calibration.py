"""Calibration figure: when a chance was said, how often did it come true?"""

from __future__ import annotations

from typing import Any

import pandas as pd

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart, scatter
from solespan.dashboards.empty import empty_figure

__all__ = ["calibration"]

HEIGHT_PX = 420
MARKS = {
    30: theme.Mark("#c7641f", "diamond"),
    90: theme.Mark("#2f80c2", "circle"),
    180: theme.Mark("#3f8f7a", "square"),
    365: theme.Mark("#b84c93", "triangle-up"),
}


def calibration(calibration: pd.DataFrame, *, today: pd.Timestamp) -> Chart:  # noqa: ARG001 - all figures take it
    """Draw chances said against the share that happened; on the dashed line they agree.

    Parameters
    ----------
    calibration : DataFrame
        within_days, forecasts, said, happened, low, high: `forecast.Backtest.calibration`. Bars
        are 80 % intervals of the share.
    """
    if calibration.empty:
        return empty_figure(
            "No forecast is old enough to compare.",
            "Log checks and resoles; after a year and four months of logging, look back again.",
        )
    figure = Chart()
    days: Any
    for days, part in calibration.groupby("within_days"):
        mark = MARKS[int(days)]
        happened = 100.0 * part["happened"]
        figure.add_trace(
            scatter(
                x=_rounded(100.0 * part["said"]),
                y=_rounded(happened),
                mode="markers",
                name=f"within {days} days",
                marker={"symbol": mark.symbol, "size": 10, "color": mark.colour},
                error_y={
                    "type": "data",
                    "symmetric": False,
                    "array": _rounded(100.0 * part["high"] - happened),
                    "arrayminus": _rounded(happened - 100.0 * part["low"]),
                    "thickness": 1,
                    "width": 0,
                    "color": mark.colour,
                },
                text=[f"{n:d} forecasts" for n in part["forecasts"]],
                hovertemplate=(
                    f"within {days} days, %{{text}}<br>said %{{x:.0f}} %, "
                    "happened %{y:.0f} %<extra></extra>"
                ),
            )
        )
    figure.add_shape(
        type="line", x0=0, y0=0, x1=100, y1=100, line={"dash": "dash", "width": 1}, layer="below"
    )
    theme.dress(
        figure,
        height_px=HEIGHT_PX,
        x_title="forecast chance of being due (%)",
        y_title="share that was due (%)",
    )
    figure.update_xaxes(range=[-3, 103])
    figure.update_yaxes(range=[-3, 103])
    return figure


def _rounded(values: pd.Series) -> list[float]:
    return [round(float(v), 2) for v in values]
