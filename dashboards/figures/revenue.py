"""Revenue figure: how much will each month bring at list prices, and how sure is that?"""

from __future__ import annotations

import pandas as pd

from solespan.dashboards import theme, wording
from solespan.dashboards.chart import Chart
from solespan.dashboards.empty import empty_figure
from solespan.dashboards.intervals import add_intervals

__all__ = ["revenue"]


def revenue(workload: pd.DataFrame, *, today: pd.Timestamp) -> Chart:
    """Draw revenue by month, in whole units of the shop's currency.

    Parameters
    ----------
    workload : DataFrame
        `begins_on`, `measure`, `mean` and quantiles as `forecast.workload.summarise` gives them,
        and `currency`; only the measure `revenue_minor` is drawn.
    today : Timestamp
        Not drawn: every month lies ahead.
    """
    del today
    rows = workload[workload["measure"] == "revenue_minor"]
    if rows.empty:
        return empty_figure(
            "No revenue to see ahead yet.",
            "Fit the wear model first; then jobs and revenue follow from the pairs' dates.",
        )
    numbers = rows.drop(columns=["begins_on", "open_hours"], errors="ignore")
    numbers = numbers.select_dtypes("number") / 100
    names = [f"{wording.MONTHS[d.month - 1][:3]} {d.year}" for d in rows["begins_on"]]
    figure = Chart()
    add_intervals(figure, names, numbers, unit="", width=0.55)
    theme.dress(
        figure, height_px=320, x_title="month", y_title=f"revenue ({rows['currency'].iloc[0]})"
    )
    figure.update_layout(barmode="overlay")
    figure.update_yaxes(rangemode="tozero")
    return figure
