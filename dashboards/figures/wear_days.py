"""Wear days figure.

When was a pair worn, week by week, and on how many of those days was the ground wet?
"""

from __future__ import annotations

import pandas as pd

from solespan.dashboards import theme, wording
from solespan.dashboards.chart import Chart, bar
from solespan.dashboards.empty import empty_figure

__all__ = ["wear_days"]

HEIGHT_PX = 260
MOST_WEEKS = 104


def wear_days(wear_days: pd.DataFrame, *, today: pd.Timestamp) -> Chart:
    """Draw the wear days per week (Monday to Sunday) of one pair over the last two years.

    Parameters
    ----------
    wear_days : DataFrame
        Columns `frames.WEAR_DAYS`, of one pair. Wet days are hatched.
    """
    this_monday = today - pd.Timedelta(days=today.weekday())
    since = this_monday - pd.Timedelta(weeks=MOST_WEEKS - 1)
    recent = wear_days[(wear_days["worn_on"] >= since) & (wear_days["worn_on"] <= today)]
    if recent.empty:
        return empty_figure(
            "No wear day in the last two years.",
            "Log the days this pair is worn; use decides the date as much as wear does.",
        )
    monday = recent["worn_on"] - pd.to_timedelta(recent["worn_on"].dt.day_of_week, unit="D")
    weeks = pd.date_range(monday.min(), this_monday, freq="7D")
    figure = Chart()
    for wet, name, colour, pattern in (
        (False, "dry", theme.DRY_COLOUR, ""),
        (True, "wet", theme.WET_COLOUR, "/"),
    ):
        of_kind = monday[recent["wet"] == wet]
        count = of_kind.value_counts().reindex(weeks, fill_value=0)
        figure.add_trace(
            bar(
                x=[wording.iso(week) for week in weeks],
                y=[int(n) for n in count],
                name=f"{name} ground",
                marker={
                    "color": colour,
                    "line": {"width": 0},
                    "pattern": {"shape": pattern, "fillmode": "replace", "size": 5},
                },
                hovertemplate=f"week of %{{x|%Y-%m-%d}}<br>%{{y}} {name}<extra></extra>",
            )
        )
    theme.dress(
        figure,
        height_px=HEIGHT_PX,
        x_title="week (date of its Monday)",
        y_title="wear days per week (days)",
    )
    figure.update_layout(barmode="stack", bargap=0.15)
    figure.layout["legend"]["traceorder"] = "normal"
    figure.update_xaxes(type="date")
    figure.update_yaxes(range=[0, 7.2], dtick=1 if len(weeks) < 2 else 2)
    return figure
