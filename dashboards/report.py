"""Standalone report.

How does a forecast become one file that opens from disk, without a network?
"""

from __future__ import annotations

from functools import partial

import pandas as pd
import plotly.graph_objects as go
from markupsafe import Markup

from solespan.dashboards import wording
from solespan.dashboards.assets import assets
from solespan.dashboards.chart import Chart
from solespan.dashboards.figures import FIGURES
from solespan.dashboards.order import label_of
from solespan.dashboards.pages.rack.rack import rack_page
from solespan.dashboards.render import render
from solespan.dashboards.tables import DUE_HEADINGS
from solespan.forecast.log import WearLog

__all__ = ["report_html"]

MOST_IN_REPORT = 24  # pairs on the shared time axis


def report_html(
    forecasts: pd.DataFrame,
    log: WearLog,
    paths: pd.DataFrame,
    *,
    today: pd.Timestamp,
    title: str,
    horizon_days: int = wording.DEFAULT_HORIZON_DAYS,
) -> str:
    """Write the due list, the figure of all pairs and the paths of some as one HTML document.

    Parameters
    ----------
    forecasts : DataFrame
        Columns `frames.FORECAST`.
    log : WearLog
        The log they were made from, for names and readings.
    paths : DataFrame
        Columns `frames.PATH`, of the pairs whose thickness is drawn, in the order of their first
        rows; may be empty.

    Returns
    -------
    str
        Under 400 kB: every figure is drawn as SVG. It loads nothing from anywhere.
    """
    page = rack_page(forecasts, log.pairs, log.wearers, today=today, horizon_days=horizon_days)
    labels = label_of(log.pairs)
    drawn = {row["pair_id"] for row in page["rows"][:MOST_IN_REPORT]}
    of_drawn = forecasts[forecasts["pair_id"].isin(drawn)]
    draw = partial(_drawn, today=today)
    charts = [draw("resole_dates", of_drawn, log.pairs, heading="On one time axis")]
    for pair_id in paths["pair_id"].unique():
        checks = log.checks[log.checks["pair_id"] == pair_id]
        path = paths[paths["pair_id"] == pair_id]
        mine = forecasts[forecasts["pair_id"] == pair_id]
        charts.append(draw("wear_path", path, checks, mine, heading=labels.get(pair_id, pair_id)))
    return render(
        "report.html",
        page
        | {
            "title": title,
            "headings": DUE_HEADINGS,
            "day": wording.long_date(today),
            "charts": charts,
            "styles": [_inlined("app.css"), _inlined("chart.css")],
        },
    )


def _inlined(name: str) -> Markup:
    return Markup(assets()[name].content.decode("utf-8"))  # noqa: S704 - our own static file


def _drawn(
    name: str, *frames: pd.DataFrame, today: pd.Timestamp, heading: str
) -> dict[str, str | Chart | go.Figure]:
    chart = FIGURES[name].draw(*frames, today=today)
    return {"heading": heading, "title": FIGURES[name].title, "name": name, "chart": chart}
