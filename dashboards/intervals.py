"""Interval bars: how do figures of the year draw nested intervals, and the hours the bench is open?

The scale is that of what is drawn. Open hours far above it are said in words, so that they do not
flatten the intervals.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart, bar, scatter

__all__ = ["add_intervals", "add_open_hours"]

_INTERVALS = (
    ("95 %", "p025", "p975", 0.25),
    ("80 %", "p10", "p90", 0.4),
    ("50 %", "p25", "p75", 0.7),
)
_COLOUR = theme.FOOT_MARKS["left"].colour
_MOST_ABOVE = 1.5  # open hours up to so many times the highest interval are drawn
_HEADROOM = 1.08


def add_intervals(
    figure: Chart, names: Sequence[str], rows: pd.DataFrame, *, unit: str, width: float
) -> None:
    """Draw one nested bar a period, from the wide interval to the narrow, and what is expected.

    Parameters
    ----------
    names : sequence of str
        Where each row stands on the axis.
    rows : DataFrame
        `mean` and quantiles.
    width : float
        Of a bar, in the axis's own unit.
    """
    for name, low, high, opacity in _INTERVALS:
        figure.add_trace(
            bar(
                x=list(names),
                base=[round(float(v), 2) for v in rows[low]],
                y=[round(float(b - a), 2) for a, b in zip(rows[low], rows[high], strict=True)],
                width=width,
                name=name,
                marker={"color": theme.faded(_COLOUR, opacity), "line": {"width": 0}},
                hovertext=[
                    f"{period}: {a:,.0f} to {b:,.0f} {unit} with a chance of {name}"
                    for period, a, b in zip(names, rows[low], rows[high], strict=True)
                ],
                hoverinfo="text",
            )
        )
    figure.add_trace(
        scatter(
            x=list(names),
            y=[round(float(v), 2) for v in rows["mean"]],
            mode="markers",
            name="expected",
            marker={
                "symbol": "diamond",
                "size": 9 if len(names) < 30 else 5,
                "color": theme.FOOT_MARKS["right"].colour,
            },
            hovertext=[
                f"{p}: {v:,.0f} {unit} expected" for p, v in zip(names, rows["mean"], strict=True)
            ],
            hoverinfo="text",
        )
    )


def add_open_hours(
    figure: Chart, names: Sequence[str], open_hours: Sequence[float], top: float
) -> None:
    """Draw the hours the bench is open, or say them where they lie far above what is drawn.

    Parameters
    ----------
    top : float
        The highest hours drawn otherwise; they set the scale.
    """
    most = max(open_hours, default=0.0)
    fits = most <= _MOST_ABOVE * top
    figure.update_yaxes(range=[0, _HEADROOM * (max(top, most) if fits else max(top, 1.0))])
    if fits:
        figure.add_trace(
            scatter(
                x=list(names),
                y=[round(float(v), 2) for v in open_hours],
                mode="lines",
                name="bench open",
                line={"dash": "6px,3px", "width": 2, "color": theme.LIMIT_COLOUR, "shape": "hvh"},
                hovertext=[
                    f"{n}: open for {v:,.0f} h" for n, v in zip(names, open_hours, strict=True)
                ],
                hoverinfo="text",
            )
        )
        return
    figure.add_annotation(
        xref="paper",
        yref="paper",
        x=1,
        y=1,
        xanchor="right",
        yanchor="top",
        showarrow=False,
        text=f"bench open up to {most:,.0f} h, above this scale",
    )
