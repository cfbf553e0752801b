"""Workload figure: how many bench hours will each month bring, and how sure is that?

Nested bars from the wide interval (95 %) to the narrow (50 %), with a mark at the expected hours.
The shop's open hours are a line to hold them against.
"""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from solespan.dashboards import theme, wording
from solespan.dashboards.empty import empty_figure

__all__ = ["workload"]

_INTERVALS = (
    ("95 %", "p025", "p975", 0.25),
    ("80 %", "p10", "p90", 0.4),
    ("50 %", "p25", "p75", 0.7),
)
_COLOUR = theme.FOOT_MARKS["left"].colour


def workload(workload: pd.DataFrame, *, today: pd.Timestamp) -> go.Figure:
    """Draw hours by period.

    Parameters
    ----------
    workload : DataFrame
        `begins_on`, `measure`, `mean` and quantiles as `forecast.workload.summarise` gives them,
        and `open_hours`; only the measure `bench_hours` is drawn.
    today : Timestamp
        Not drawn: every period lies ahead.
    """
    del today
    rows = workload[workload["measure"] == "bench_hours"]
    if rows.empty:
        return empty_figure(
            "No work to see ahead yet.",
            "Fit the wear model first; then jobs and hours follow from the pairs' dates.",
        )
    names = [f"{wording.MONTHS[d.month - 1][:3]} {d.year}" for d in rows["begins_on"]]
    figure = go.Figure()
    for name, low, high, opacity in _INTERVALS:
        figure.add_trace(
            go.Bar(
                x=names,
                base=[round(v, 2) for v in rows[low]],
                y=[round(b - a, 2) for a, b in zip(rows[low], rows[high], strict=True)],
                width=0.55,
                name=name,
                marker={"color": theme.faded(_COLOUR, opacity), "line": {"width": 0}},
                hovertext=[
                    f"{period}: {a:.0f} to {b:.0f} h with a chance of {name}"
                    for period, a, b in zip(names, rows[low], rows[high], strict=True)
                ],
                hoverinfo="text",
            )
        )
    figure.add_trace(
        go.Scatter(
            x=names,
            y=[round(v, 2) for v in rows["mean"]],
            mode="markers",
            name="expected",
            marker={"symbol": "diamond", "size": 9, "color": theme.FOOT_MARKS["right"].colour},
            hovertext=[
                f"{p}: {v:.0f} h expected" for p, v in zip(names, rows["mean"], strict=True)
            ],
            hoverinfo="text",
        )
    )
    figure.add_trace(
        go.Scatter(
            x=names,
            y=[round(v, 2) for v in rows["open_hours"]],
            mode="lines",
            name="bench open",
            line={"dash": "6px,3px", "width": 2, "color": theme.LIMIT_COLOUR},
            hovertext=[
                f"{p}: open for {v:.0f} h" for p, v in zip(names, rows["open_hours"], strict=True)
            ],
            hoverinfo="text",
        )
    )
    theme.dress(figure, height_px=360, x_title="month", y_title="hands-on time (h)")
    figure.update_layout(barmode="overlay")
    figure.update_yaxes(rangemode="tozero")
    return figure
