"""Empty figure.

What does a figure show when there is too little to draw, and what can the reader do?
"""

from __future__ import annotations

import textwrap

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart

__all__ = ["empty_figure"]

HEIGHT_PX = 180


def empty_figure(missing: str, remedy: str) -> Chart:
    """Draw no data, but say what is missing and what the reader can do about it."""
    figure = theme.dress(Chart(), height_px=HEIGHT_PX, x_title="", y_title="")
    figure.update_xaxes(visible=False)
    figure.update_yaxes(visible=False)
    lines = [theme.plain(missing), "", *map(theme.plain, textwrap.wrap(remedy, 44))]
    figure.add_annotation(
        text="<br>".join(lines), showarrow=False, xref="paper", yref="paper", x=0.5, y=0.5
    )
    return figure
