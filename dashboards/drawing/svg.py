"""SVG drawing: how does a page show a figure at once, on a phone and wide, light and dark?

Two sizes stand in the page, and its style shows the one that fits. Colours are classes, so that
dark ones follow. No text is smaller than 14 px where the drawing has the width it is made for.
"""

from __future__ import annotations

import html
from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go
from markupsafe import Markup

from solespan.dashboards.chart import Chart
from solespan.dashboards.drawing.frame import Frame
from solespan.dashboards.drawing.layout import frame_of
from solespan.dashboards.drawing.marks import bar_path
from solespan.dashboards.drawing.traces import colour_of, trace_marks

__all__ = ["WIDTHS_PX", "drawing"]

WIDTHS_PX = (360, 720)
NEXT_WORDS_PX = 8.0  # room between two names of ticks


def drawing(figure: Chart | go.Figure, name: str, title: str, words: str = "") -> Markup:
    """Draw a figure as SVG in both sizes.

    Parameters
    ----------
    figure
        Its description.
    name : str
        Unlike that of any other figure of the page.
    title, words : str
        What it is called, and what stands for it where a chart says no finding of its own.
    """
    chart = figure if isinstance(figure, Chart) else _read(figure)
    finding = chart.finding or words
    sizes = [_svg(chart, f"{name}-{width}", title, finding, width) for width in WIDTHS_PX]
    return Markup("").join(map(Markup, sizes))


def _read(figure: go.Figure) -> Chart:
    """Take a figure of the library for its description."""
    plain = figure.to_dict()
    chart = Chart(*plain["data"])
    chart.layout |= {name: value for name, value in plain["layout"].items() if name != "template"}
    return chart


def _svg(chart: Chart, name: str, title: str, finding: str, width: int) -> str:
    frame = frame_of(chart, name, width)
    marks = "".join(trace_marks(chart, frame))
    return (
        f'<svg class="fig w{width}" viewBox="0 0 {width} {frame.height_px:.0f}" role="img" '
        f'aria-labelledby="{name}-t {name}-d"><title id="{name}-t">{html.escape(title)}</title>'
        f'<desc id="{name}-d">{html.escape(finding)}</desc>'
        f"{_cut(frame)}{''.join(_hatches(chart, name))}{''.join(_behind(chart, frame))}{marks}"
        f"{''.join(_words(chart, frame))}</svg>"
    )


def _cut(frame: Frame) -> str:
    """The plot, beyond which no line or area is drawn."""
    box = bar_path([(frame.x.start_px - 2, frame.y.end_px, frame.x.end_px + 2, frame.y.start_px)])
    return f'<clipPath id="{frame.name}-c"><path d="{box}"/></clipPath>'


def _hatches(chart: Chart, name: str) -> list[str]:
    """Patterns of the traces that are hatched."""
    return [
        f'<pattern id="{name}-h{i}" width="6" height="6" patternUnits="userSpaceOnUse" '
        f'class="{frame_class(trace)}" patternTransform="rotate(45)">'
        '<path d="M0 0H6V6H0Z" fill="currentColor" fill-opacity=".25"/>'
        '<path d="M1 0V6" stroke="currentColor" stroke-width="2.5"/></pattern>'
        for i, trace in enumerate(chart.data)
        if trace.get("marker", {}).get("pattern", {}).get("shape")
    ]


def frame_class(trace: Mapping[str, Any]) -> str:
    """Class of a trace's colour."""
    return colour_of(trace.get("marker", {}).get("color"))[0]


def _behind(chart: Chart, frame: Frame) -> list[str]:
    """Grid, ticks, far part of the time axis, and lines that belong to no trace."""
    x, y = frame.x, frame.y
    if not frame.axes:
        return []
    out = []
    if x.split is not None:
        at = x.place(x.split[0])
        far = bar_path([(at, y.end_px, x.end_px, y.start_px)])
        out.append(f'<path class="far" d="{far}"/>')
    grid = chart.layout["yaxis"].get("showgrid", True)
    if grid and y.kind == "linear":
        lines = "".join(f"M{x.start_px:.0f} {px:.1f}H{x.end_px:.0f}" for px, _ in y.ticks())
        out.append(f'<path class="grid" d="{lines}"/>')
    ticks = "".join(f"M{px:.1f} {y.start_px:.1f}v5" for px, _ in x.ticks())
    out.append(f'<path class="grid" d="M{x.start_px:.0f} {y.start_px:.1f}H{x.end_px:.0f}{ticks}"/>')
    for shape in chart.layout["shapes"]:
        x0, x1 = (x.place(x.number(shape[end])) for end in ("x0", "x1"))
        if shape.get("yref") == "paper":
            y0, y1 = y.start_px, y.end_px - frame.font_px
        else:
            y0, y1 = (y.place(y.number(shape[end])) for end in ("y0", "y1"))
        out.append(f'<path class="rule" d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}"/>')
    return out


def _words(chart: Chart, frame: Frame) -> list[str]:
    """Names of ticks and axes, the key, the notes, and labels at the ends of lines."""
    out = list(frame.header)
    x, y = frame.x, frame.y
    if not frame.axes:
        return out
    half = frame.font_px / 3
    taken = -NEXT_WORDS_PX
    for px, name in x.ticks():
        lines = name.split("<br>")
        wide = max(map(frame.wide, lines)) / 2
        middle = min(max(px, wide), frame.width_px - wide)
        if middle - wide < taken + NEXT_WORDS_PX:
            continue
        taken = middle + wide
        out += [
            f'<text x="{middle:.1f}" y="{frame.ticks_px + i * frame.font_px * 1.2:.1f}" '
            f'text-anchor="middle">{html.escape(line)}</text>'
            for i, line in enumerate(lines)
        ]
    if chart.layout["yaxis"].get("showticklabels", True):
        for scale in filter(None, (y, frame.strip)):
            out += [
                f'<text x="{x.start_px - 8:.0f}" y="{px + half:.1f}" text-anchor="end">'
                f"{html.escape(name)}</text>"
                for px, name in scale.ticks()
            ]
    for note in chart.layout["annotations"]:
        if note.get("xref") == "paper":
            continue
        px = x.place(x.number(note["x"]))
        end = px + frame.wide(note["text"]) + 4 > frame.width_px
        side = f'x="{px - 4:.1f}" text-anchor="end"' if end else f'x="{px + 4:.1f}"'
        out.append(f'<text {side} y="{y.end_px - 4:.1f}">{note["text"]}</text>')
    out += [
        f'<text x="{x.end_px + 6:.0f}" y="{px + half:.1f}">{html.escape(name)}</text>'
        for px, name in frame.labels
    ]
    return out
