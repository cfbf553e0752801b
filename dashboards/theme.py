"""Theme: which colour, mark and type does each meaning have, in figures, light and dark?

Every data colour has a contrast of at least 3 to 1 on both grounds, so the marks stay the same when
the ground changes. Only text, grid and ground come from a template. Nothing is told by colour
alone: feet also differ by mark and dash, bands by mark and word. Blue and orange stay apart in the
common forms of colour blindness (common practice, no source).

Texts use no tag but the line break: any other becomes a style attribute, which the pages'
Content-Security-Policy refuses.
"""

from __future__ import annotations

import html
from dataclasses import dataclass

import plotly.graph_objects as go

from solespan.dashboards.chart import Chart

__all__ = [
    "BAND_MARKS",
    "DRY_COLOUR",
    "EARLIER_COLOUR",
    "FOOT_MARKS",
    "LIMIT_COLOUR",
    "TEMPLATES",
    "WET_COLOUR",
    "Mark",
    "dress",
    "faded",
    "plain",
    "shortened",
    "today_line",
]


@dataclass(frozen=True)
class Mark:
    """How one meaning is drawn: colour, marker symbol and dash of the line."""

    colour: str
    symbol: str
    dash: str = "solid"


FOOT_MARKS: dict[str, Mark] = {
    "left": Mark("#2f80c2", "circle"),
    "right": Mark("#c7641f", "square", "4px,2px"),
}
BAND_MARKS: dict[str, Mark] = {
    "sound": Mark("#3f8f7a", "circle-open"),
    "watch": Mark("#a07d1c", "triangle-up"),
    "book in": Mark("#c2571a", "diamond"),
    "stop wearing": Mark("#b84c93", "square"),
    "away": Mark("#6f7f86", "triangle-right"),
    "retired": Mark("#7d8a8f", "line-ew-open"),
}
LIMIT_COLOUR = "#b84c93"
EARLIER_COLOUR = "#7d8a8f"
DRY_COLOUR = "#3f8f7a"
WET_COLOUR = "#2f80c2"

FONT = "system-ui, 'Segoe UI', 'Liberation Sans', sans-serif"


def _template(ink: str, muted: str, grid: str, ground: str) -> go.layout.Template:
    axis = {
        "gridcolor": grid,
        "linecolor": grid,
        "zeroline": False,
        "tickfont": {"color": muted},
        "title": {"font": {"color": muted, "size": 13}},
        "automargin": True,
        "fixedrange": True,
    }
    return go.layout.Template(
        layout={
            "font": {"family": FONT, "size": 13, "color": ink},
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "xaxis": axis,
            "yaxis": axis,
            "hoverlabel": {
                "bgcolor": ground,
                "bordercolor": muted,
                "font": {"color": ink, "family": FONT},
                "align": "left",
            },
            "legend": {"font": {"color": ink}},
            "annotationdefaults": {"font": {"color": ink}, "arrowcolor": muted},
            "shapedefaults": {"line": {"color": muted, "width": 1}},
        }
    )


TEMPLATES: dict[str, go.layout.Template] = {
    "light": _template("#1b2426", "#526063", "#d5dcda", "#fafbf9"),
    "dark": _template("#e7ecea", "#a3b0b0", "#344247", "#1a2326"),
}


def dress(figure: Chart, *, height_px: int, x_title: str, y_title: str) -> Chart:
    """Give a figure the layout that all figures share, and its two axis titles."""
    figure.update_layout(
        template=TEMPLATES["light"],
        height=height_px,
        margin={"l": 8, "r": 12, "t": 8, "b": 8},
        dragmode=False,
        hovermode="closest",
        legend={
            "orientation": "h",
            "x": 0,
            "xanchor": "left",
            "y": 1.0,
            "yanchor": "bottom",
            "itemclick": False,
            "itemdoubleclick": False,
        },
    )
    figure.update_xaxes(title={"text": x_title})
    figure.update_yaxes(title={"text": y_title})
    return figure


def today_line(figure: Chart, today_iso: str) -> None:
    """Mark today by a thin upright line, named at its foot."""
    figure.add_shape(
        type="line", x0=today_iso, x1=today_iso, yref="paper", y0=0, y1=1, line={"dash": "dot"}
    )
    figure.add_annotation(
        x=today_iso,
        yref="paper",
        y=0,
        text="today",
        showarrow=False,
        xanchor="left",
        yanchor="bottom",
        xshift=3,
    )


def plain(text: object) -> str:
    """Make a text safe for figures, which read a few tags in what they are given."""
    return html.escape(str(text), quote=False)


def shortened(text: object, characters: int = 34) -> str:
    """Cut a text to a length that fits one line of a phone, and make it safe for figures."""
    words = " ".join(str(text).split())
    return plain(words if len(words) <= characters else f"{words[: characters - 1].rstrip()}…")


def faded(colour: str, opacity: float) -> str:
    """Turn #rrggbb into the same colour seen through."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:g})"
