"""Layout of a drawing: how much room do axes, key and labels of a chart take at a width?"""

from __future__ import annotations

import html
from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Any

from solespan.dashboards.chart import Chart
from solespan.dashboards.drawing.frame import CHARACTER, Frame
from solespan.dashboards.drawing.scale import dated, scale_of
from solespan.dashboards.drawing.traces import ends_of, marker_path

__all__ = ["frame_of"]

FONT_PX = {360: 16, 720: 15}
ROW_PX = 24
PLOT_PX = {360: 210, 720: 250}
STRIP_PX = 44
WORDLESS = ("date", "week", "month", "measure", "")


def frame_of(chart: Chart, name: str, width_px: int) -> Frame:
    """Lay a chart out at a width."""
    font_px = FONT_PX[width_px]
    layout = chart.layout
    axes = layout["xaxis"].get("visible", True)

    def wide(words: str) -> float:
        return CHARACTER * font_px * len(words)

    header, top = _header(chart, width_px, font_px)
    named = [t for t in chart.data if _label(t)]
    right = width_px - 10.0 - max([0.0, *(wide(_label(t)) for t in named)]) - 4 * bool(named)
    rows = layout.get("meta", {}).get("rows", 0)
    plot_px = rows * layout["meta"]["row_px"] if rows else PLOT_PX[width_px]
    bottom = top + plot_px
    y_values = [v for t in chart.data if not t.get("yaxis") for v in ends_of(t, "y")]
    y_axis = layout["yaxis"]
    flat = scale_of(y_axis, y_values, start_px=bottom, end_px=top)
    shown = y_axis.get("showticklabels", True) and axes
    left_words = [n for _, n in flat.ticks()] if shown else []
    strip = None
    if any(t.get("yaxis") == "y2" for t in chart.data):
        at = layout["yaxis2"]
        strip = scale_of(at, [], start_px=bottom + STRIP_PX + 8, end_px=bottom + 8)
        left_words += [n for _, n in strip.ticks()]
    left = 4.0 + max([4.0, *(wide(w) + 8 for w in left_words)])
    x_values = [v for t in chart.data for v in ends_of(t, "x")]
    split = layout.get("meta", {}).get("split")
    x = scale_of(
        layout["xaxis"],
        x_values,
        start_px=left,
        end_px=right,
        spare=_spare(chart),
        split=None if split is None else (dated(split[0]), split[1]),
    )
    foot = bottom + (STRIP_PX + 12 if strip else 0)
    ticks_px = foot + 8 + font_px
    title = _axis_title(layout["xaxis"])
    lines = max([1, *(n.count("<br>") + 1 for n in x.names)])
    height = ticks_px + 8 + (lines - 1) * font_px * 1.2
    if title and axes:
        height += ROW_PX
        header += [f'<text x="{right:.0f}" y="{height - 6:.0f}" text-anchor="end">{title}</text>']
    labels = _apart(
        [(min(max(flat.place(float(t["y"][-1])), top), bottom), _label(t)) for t in named], font_px
    )
    return Frame(
        name, width_px, height if axes else top + 8, font_px, axes, x, flat, strip, ticks_px,
        tuple(header), tuple(labels),
    )  # fmt: skip


def _spare(chart: Chart) -> float:
    """Days beyond the first and last bar of a time axis, so that no bar is cut."""
    upright = [t for t in chart.data if t["type"] == "bar" and t.get("orientation") != "h"]
    if not upright or chart.layout["xaxis"].get("type") != "date":
        return 0.0
    return 0.5 * min(
        (b - a for a, b in pairwise(sorted({dated(v) for t in upright for v in t["x"]}))),
        default=7.0,
    )


def _label(trace: Mapping[str, Any]) -> str:
    """Words at the end of a trace, which then needs no place in the key."""
    return str((trace.get("meta") or {}).get("label", ""))


def _axis_title(axis: Mapping[str, Any]) -> str:
    text = str((axis.get("title") or {}).get("text") or "")
    return "" if text in WORDLESS else html.escape(text.replace("<br>", " "))


def _header(chart: Chart, width_px: int, font_px: int) -> tuple[list[str], float]:
    """Title of the upright axis, key, and notes: their elements, and where the plot begins."""
    at = float(font_px + 2)
    out: list[str] = []
    visible = chart.layout["yaxis"].get("visible", True)
    title = _axis_title(chart.layout["yaxis"])
    if title and visible and chart.layout["yaxis"].get("showticklabels", True):
        out.append(f'<text x="0" y="{at:.0f}">{title}</text>')
        at += ROW_PX
    left = 0.0
    for trace in _keyed(chart):
        words = str(trace["name"])
        wide = CHARACTER * font_px * len(words) + 34
        if left and left + wide > width_px:
            left, at = 0.0, at + ROW_PX
        out.append(marker_path(trace, left + 8, at - font_px / 3))
        out.append(f'<text x="{left + 20:.0f}" y="{at:.0f}">{html.escape(words)}</text>')
        left += wide
    at += ROW_PX if left else 0
    for note in chart.layout["annotations"]:
        if note.get("xref") != "paper":
            continue
        for line in str(note["text"]).split("<br>"):
            out.append(f'<text x="0" y="{at:.0f}">{line}</text>')
            at += ROW_PX
    named = any(note.get("xref") != "paper" for note in chart.layout["annotations"])
    return out, at - font_px + (ROW_PX if named else 4)


def _keyed(chart: Chart) -> Iterator[Mapping[str, Any]]:
    if chart.layout.get("showlegend") is False:
        return
    labelled = {trace.get("legendgroup") for trace in chart.data if _label(trace)} - {None}
    for trace in chart.data:
        named = trace.get("name") and trace.get("showlegend", True)
        if named and not _label(trace) and trace.get("legendgroup") not in labelled:
            yield trace


def _apart(labels: list[tuple[float, str]], font_px: int) -> list[tuple[float, str]]:
    """Move labels down until none stands over another."""
    out: list[tuple[float, str]] = []
    for px, words in sorted(labels):
        least = out[-1][0] + font_px + 2 if out else px
        out.append((max(px, least), words))
    return out
