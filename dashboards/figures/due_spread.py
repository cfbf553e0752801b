"""Due spread figure: do the due dates of a rack lie closer together with the plan or without it?

Two lanes on one time axis: the middle estimate of each pair as it is worn now, and as the plan
wears it. A thin line joins the two marks of a pair.
"""

from __future__ import annotations

import pandas as pd

from solespan.dashboards import theme, wording
from solespan.dashboards.chart import Chart, scatter
from solespan.dashboards.empty import empty_figure

__all__ = ["due_spread"]

HEIGHT_PX = 300
JOIN_COLOUR = theme.faded("#6f7f86", 0.6)
LANES = (("now", 1, "without the plan", "left"), ("then", 0, "with the plan", "right"))


def due_spread(what_if: pd.DataFrame, *, today: pd.Timestamp) -> Chart:
    """Draw the median due dates without and with a plan.

    Parameters
    ----------
    what_if : DataFrame
        `pair_id`, `label`, and the dates `due_p50_now` and `due_p50_then`; a missing date lies
        beyond the horizon and is not drawn.
    """
    known = what_if.dropna(subset=["due_p50_now", "due_p50_then"], how="all")
    if known.empty:
        return empty_figure(
            "No due date to compare yet.",
            "Make a plan, and log wears and checks, so that dates come nearer than the horizon.",
        )
    figure = Chart()
    both = known.dropna(subset=["due_p50_now", "due_p50_then"])
    for row in both.to_dict("records"):
        figure.add_trace(
            scatter(
                x=[wording.iso(row["due_p50_now"]), wording.iso(row["due_p50_then"])],
                y=[1, 0],
                mode="lines",
                line={"color": JOIN_COLOUR, "width": 1},
                hoverinfo="skip",
                showlegend=False,
            )
        )
    for name, lane, words, foot in LANES:
        of_lane = known.dropna(subset=[f"due_p50_{name}"])
        mark = theme.FOOT_MARKS[foot]
        figure.add_trace(
            scatter(
                x=[wording.iso(day) for day in of_lane[f"due_p50_{name}"]],
                y=[lane] * len(of_lane),
                mode="markers",
                marker={"symbol": mark.symbol, "color": mark.colour, "size": 11},
                name=words,
                hovertext=[
                    f"{theme.shortened(label, 60)}<br>{words}: {wording.around(day)}"
                    for label, day in zip(of_lane["label"], of_lane[f"due_p50_{name}"], strict=True)
                ],
                hoverinfo="text",
            )
        )
    theme.dress(
        figure, height_px=HEIGHT_PX, x_title="middle estimate of the due day (date)", y_title=""
    )
    figure.update_xaxes(type="date")
    figure.update_yaxes(
        tickvals=[1, 0],
        ticktext=["as now", "planned"],
        range=[-0.5, 1.5],
        showgrid=False,
        title={"text": "wear"},
    )
    theme.today_line(figure, wording.iso(today))
    return figure
