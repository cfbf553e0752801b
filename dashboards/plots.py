"""Plots of results: which figures does a results object of the forecast library draw?

Import this module once; then `fit.plot_due()` and `fit.plot_path(pair_id)` give figures of plotly.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

from solespan.dashboards.chart import Chart
from solespan.dashboards.figures import FIGURES
from solespan.forecast.explaining.results.plots import PLOTS

__all__ = ["plot"]

_OF_RESULTS = {"due": "resole_dates", "path": "wear_path"}


def plot(figure: str, *frames: pd.DataFrame, today: pd.Timestamp) -> go.Figure:
    """Draw one figure of the register `FIGURES`, with its title, as a figure of plotly."""
    entry = FIGURES[figure]
    drawn: Any = entry.draw(*frames, today=today)
    made = drawn.plotly() if isinstance(drawn, Chart) else drawn
    return made.update_layout(title=entry.title)


def _drawing(figure: str) -> Any:
    return lambda *frames, today: plot(figure, *frames, today=today)


PLOTS.update({name: _drawing(figure) for name, figure in _OF_RESULTS.items()})
