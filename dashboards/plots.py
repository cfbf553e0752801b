"""Plots of results: which figures does a results object of the forecast library draw?

Import this module once; then `fit.plot_due()` and `fit.plot_path(pair_id)` give figures of plotly.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart, scatter
from solespan.dashboards.figures import FIGURES
from solespan.forecast.explaining.results.plots import PLOTS

__all__ = ["plot", "plot_residuals"]

TITLE_PX = 56
_OF_RESULTS = {"due": "resole_dates", "path": "wear_path"}


def plot(figure: str, *frames: pd.DataFrame, today: pd.Timestamp) -> go.Figure:
    """Draw one figure of the register `FIGURES`, with its title, as a figure of plotly."""
    entry = FIGURES[figure]
    drawn: Any = entry.draw(*frames, today=today)
    made = drawn.plotly() if isinstance(drawn, Chart) else drawn
    return made.update_layout(title=entry.title, margin_t=TITLE_PX)


def _drawing(figure: str) -> Any:
    return lambda *frames, today: plot(figure, *frames, today=today)


def plot_residuals(qq: pd.DataFrame, *, today: pd.Timestamp) -> go.Figure:  # noqa: ARG001 - as all
    """Draw quantiles of residuals against those of the normal; on the line they agree."""
    chart = Chart(
        scatter(
            x=[round(float(v), 3) for v in qq["normal"]],
            y=[round(float(v), 3) for v in qq["residual"]],
            mode="markers",
            name="checks",
        )
    )
    line = {"dash": "dash", "width": 1}
    chart.add_shape(type="line", x0=-3, y0=-3, x1=3, y1=3, line=line, layer="below")
    theme.dress(
        chart,
        height_px=420,
        x_title="quantile of the normal (standard errors)",
        y_title="quantile of the checks (standard errors)",
    )
    return chart.plotly().update_layout(title="Checks against the fit", margin_t=TITLE_PX)


PLOTS["diagnostics"] = plot_residuals
PLOTS.update({name: _drawing(figure) for name, figure in _OF_RESULTS.items()})
