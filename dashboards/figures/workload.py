"""Workload figure: how many bench hours will each week bring, and how sure is that?

Nested bars from the wide interval (95 %) to the narrow (50 %), with a mark at the expected hours.
Hours of work set the scale. The shop's open hours are a line to hold them against.
"""

from __future__ import annotations

import pandas as pd

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart
from solespan.dashboards.empty import empty_figure
from solespan.dashboards.intervals import add_intervals, add_open_hours

__all__ = ["workload"]

_BAR_MS = 5.5 * 86_400_000


def workload(workload: pd.DataFrame, *, today: pd.Timestamp) -> Chart:
    """Draw hours by week.

    Parameters
    ----------
    workload : DataFrame
        `begins_on`, `measure`, `mean` and quantiles as `forecast.workload.summarise` gives them,
        and `open_hours`; only the measure `bench_hours` is drawn.
    today : Timestamp
        Not drawn: every week lies ahead.
    """
    del today
    rows = workload[workload["measure"] == "bench_hours"]
    if rows.empty:
        return empty_figure(
            "No work to see ahead yet.",
            "Fit the wear model first; then jobs and hours follow from the pairs' dates.",
        )
    days = [f"{day:%Y-%m-%d}" for day in rows["begins_on"]]
    figure = Chart()
    add_intervals(figure, days, rows, unit="h", width=_BAR_MS)
    theme.dress(figure, height_px=360, x_title="week", y_title="hands-on time (h)")
    add_open_hours(figure, days, [float(v) for v in rows["open_hours"]], float(rows["p975"].max()))
    figure.update_layout(barmode="overlay")
    figure.update_xaxes(type="date")
    return figure
