"""Bench weeks figure.

How full is each week of the bench, with owners asked as now and with the load levelled?

Bars side by side in hours of work handed over, under the line of the hours the bench is open.
"""

from __future__ import annotations

import pandas as pd

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart, bar
from solespan.dashboards.empty import empty_figure
from solespan.dashboards.intervals import add_open_hours

__all__ = ["bench_weeks"]

_WAYS = (
    ("hours_as_asked_now", "asked on the send-by day", theme.FOOT_MARKS["right"].colour, "/"),
    ("hours_levelled", "levelled", theme.FOOT_MARKS["left"].colour, ""),
)


def bench_weeks(weeks: pd.DataFrame, *, today: pd.Timestamp) -> Chart:
    """Draw the weeks of a bench plan.

    Parameters
    ----------
    weeks : DataFrame
        A row a week: `begins_on` (date) and the hours `open_hours`, `hours_as_asked_now`,
        `hours_levelled`.
    today : Timestamp
        Not drawn: a plan begins on the day it was made.
    """
    del today
    if weeks.empty:
        return empty_figure(
            "No plan of the bench yet.",
            "Plan the bench's year first. Then this figure shows each week's load.",
        )
    days = [f"{day:%Y-%m-%d}" for day in weeks["begins_on"]]
    figure = Chart()
    for column, name, colour, hatch in _WAYS:
        hours = [round(float(v), 2) for v in weeks[column]]
        figure.add_trace(
            bar(
                x=days,
                y=hours,
                name=name,
                marker={
                    "color": theme.faded(colour, 0.6),
                    "line": {"color": colour, "width": 1},
                    "pattern": {"shape": hatch, "size": 5},
                },
                hovertext=[
                    f"week of {d}, {name}: {h:.0f} h" for d, h in zip(days, hours, strict=True)
                ],
                hoverinfo="text",
            )
        )
    theme.dress(figure, height_px=340, x_title="week", y_title="work handed over (h)")
    figure.update_layout(barmode="group", bargap=0.15)
    figure.update_xaxes(type="date")
    highest = float(weeks[[column for column, *_ in _WAYS]].to_numpy().max())
    add_open_hours(figure, days, [float(v) for v in weeks["open_hours"]], highest)
    return figure
