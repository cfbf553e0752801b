"""Leather figure: how much money does the leather in stock tie up over the year?"""

from __future__ import annotations

import pandas as pd

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart, scatter
from solespan.dashboards.empty import empty_figure

__all__ = ["leather"]


def leather(leather: pd.DataFrame, *, today: pd.Timestamp) -> Chart:
    """Draw the money in leather by week: what is expected, and four years in five.

    Parameters
    ----------
    leather : DataFrame
        A row a week: `begins_on` (date), `currency`, and `mean`, `p10`, `p90` in its minor unit.
    today : Timestamp
        Not drawn: the first week is the next.
    """
    del today
    if leather.empty:
        return empty_figure(
            "No money in leather is known yet.",
            "Keep leather in the stock book, and set what it costs.",
        )
    days = [f"{day:%Y-%m-%d}" for day in leather["begins_on"]]
    low, mean, high = ([round(v / 100, 2) for v in leather[c]] for c in ("p10", "mean", "p90"))
    colour = theme.FOOT_MARKS["left"].colour
    figure = Chart()
    for values, name, fill in ((low, "low", None), (high, "80 %", "tonexty")):
        figure.add_trace(
            scatter(
                x=days,
                y=values,
                mode="lines",
                name=name,
                fill=fill,
                fillcolor=theme.faded(colour, 0.4),
                line={"width": 0, "color": colour},
                showlegend=fill is not None,
                hoverinfo="skip",
            )
        )
    figure.add_trace(
        scatter(
            x=days,
            y=mean,
            mode="lines",
            name="expected",
            line={"width": 2, "color": theme.FOOT_MARKS["right"].colour},
            hovertext=[
                f"week of {d}: {m:,.0f} expected, {a:,.0f} to {b:,.0f} with a chance of 80 %"
                for d, m, a, b in zip(days, mean, low, high, strict=True)
            ],
            hoverinfo="text",
        )
    )
    theme.dress(
        figure,
        height_px=300,
        x_title="week",
        y_title=f"money in leather ({leather['currency'].iloc[0]})",
    )
    figure.update_xaxes(type="date")
    figure.update_yaxes(rangemode="tozero")
    return figure
