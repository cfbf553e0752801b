"""Register of figures.

Which figures are there, what are they called, and which frames do they need?

The register: to add a figure, write one file with one function of frames and `today`, and one line
here. Pages, routes and the contract test read the register.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import plotly.graph_objects as go

from solespan.dashboards.chart import Chart
from solespan.dashboards.figures.bench_weeks import bench_weeks
from solespan.dashboards.figures.calibration import calibration
from solespan.dashboards.figures.due_spread import due_spread
from solespan.dashboards.figures.leather import leather
from solespan.dashboards.figures.left_right import left_right
from solespan.dashboards.figures.plan_followed import plan_followed
from solespan.dashboards.figures.resole_dates import resole_dates
from solespan.dashboards.figures.revenue import revenue
from solespan.dashboards.figures.wear_days import wear_days
from solespan.dashboards.figures.wear_path import wear_path
from solespan.dashboards.figures.workload import workload

__all__ = ["FIGURES", "FigureEntry"]


@dataclass(frozen=True)
class FigureEntry:
    """One figure: `draw(*frames, today=...)`, its title, the frames it needs in order, its page."""

    draw: Callable[..., Chart | go.Figure]
    title: str
    needs: tuple[str, ...]
    page: str


FIGURES: dict[str, FigureEntry] = {
    "resole_dates": FigureEntry(
        resole_dates, "When each pair needs a new sole", ("forecast", "pairs"), "rack"
    ),
    "wear_path": FigureEntry(
        wear_path, "Thickness down to the limit", ("path", "checks", "forecast"), "pair"
    ),
    "wear_days": FigureEntry(wear_days, "When it was worn", ("wear_days",), "pair"),
    "left_right": FigureEntry(left_right, "Left against right", ("forecast", "pairs"), "pair"),
    "due_spread": FigureEntry(
        due_spread, "Due dates with and without the plan", ("what_if",), "spread"
    ),
    "calibration": FigureEntry(
        calibration, "Forecast chances, and what happened", ("calibration",), "look back"
    ),
    "workload": FigureEntry(workload, "Bench hours ahead", ("workload",), "work ahead"),
    "revenue": FigureEntry(revenue, "Revenue ahead", ("workload",), "work ahead"),
    "leather": FigureEntry(leather, "Money in leather", ("leather",), "work ahead"),
    "bench_weeks": FigureEntry(
        bench_weeks, "The bench's weeks, levelled and not", ("bench_weeks",), "work ahead"
    ),
    "plan_followed": FigureEntry(
        plan_followed, "What following a plan changes", ("owner_years",), "look back"
    ),
}
