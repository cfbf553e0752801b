"""Plan followed figure.

What does following a plan change: soles worn past the limit, pairs away, hand-overs at once?
"""

from __future__ import annotations

import pandas as pd

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart, bar, scatter
from solespan.dashboards.empty import empty_figure

__all__ = ["MEASURES", "plan_followed"]

HEIGHT_PX = 320
MEASURES = {
    "soles_past_limit": "soles worn<br>past the limit",
    "most_away": "most pairs<br>away at once",
    "most_sent_in_30_days": "most sent<br>within 30 days",
}
_MARKS = {
    "follows the plan": (theme.DRY_COLOUR, "circle"),
    "does not": (theme.LIMIT_COLOUR, "diamond"),
}


def plan_followed(years: pd.DataFrame, *, today: pd.Timestamp) -> Chart:
    """Draw the mean of each measure over owners, with every owner as a mark.

    Parameters
    ----------
    years : DataFrame
        A row per owner and year: `owner` ("follows the plan" or "does not") and the columns of
        `MEASURES`, counts in a year.
    """
    del today  # whole years are compared, whenever they were
    if years.empty:
        return empty_figure(
            "No owner's year to compare yet.",
            "Simulate some owners who follow the plan and some who do not.",
        )
    figure = Chart()
    titles = list(MEASURES.values())
    for owner, (colour, symbol) in _MARKS.items():
        mine = years[years["owner"] == owner]
        figure.add_trace(
            bar(
                x=titles,
                y=[float(mine[name].mean()) if len(mine) else 0.0 for name in MEASURES],
                name=owner,
                offsetgroup=owner,
                marker={"color": theme.faded(colour, 0.45), "line": {"color": colour, "width": 1}},
                hovertemplate=f"{theme.plain(owner)}: %{{y:.1f}} on average<extra></extra>",
            )
        )
        figure.add_trace(
            scatter(
                x=[title for title in titles for _ in range(len(mine))],
                y=[int(value) for name in MEASURES for value in mine[name]],
                name=f"{owner}, each owner",
                mode="markers",
                offsetgroup=owner,
                marker={"color": colour, "symbol": symbol, "size": 6},
                hovertemplate="%{y}<extra></extra>",
                showlegend=False,
            )
        )
    theme.dress(figure, height_px=HEIGHT_PX, x_title="measure", y_title="in one year (count)")
    figure.update_layout(barmode="group", scattermode="group", bargap=0.3)
    figure.update_yaxes(rangemode="tozero")
    return figure
