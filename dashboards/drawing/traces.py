"""Traces of a drawing: which elements draw the bars, lines, points and words of a figure?"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart
from solespan.dashboards.drawing.frame import Frame
from solespan.dashboards.drawing.marks import bar_path, line_path, point_path, short
from solespan.dashboards.drawing.scale import Scale, dated

__all__ = ["colour_of", "ends_of", "marker_path", "trace_marks"]

_DAY_MS = 86_400_000
_CLASSES = {
    theme.FOOT_MARKS["left"].colour: "k-left",
    theme.FOOT_MARKS["right"].colour: "k-right",
    **{mark.colour: f"k-{band.replace(' ', '-')}" for band, mark in theme.BAND_MARKS.items()},
}
_SEEN_THROUGH = re.compile(r"rgba\((\d+),(\d+),(\d+),([\d.]+)\)")
_DASHES = {"dash": "7 4", "dot": "2 4", "solid": ""}


def colour_of(colour: Any) -> tuple[str, float]:
    """Class and opacity of a colour of the theme."""
    text = str(colour or "")
    found = _SEEN_THROUGH.fullmatch(text.replace(" ", ""))
    if found is None:
        return _CLASSES.get(text, "k-rest"), 1.0
    red, green, blue, opacity = found.groups()
    plain = f"#{int(red):02x}{int(green):02x}{int(blue):02x}"
    return _CLASSES.get(plain, "k-rest"), float(opacity)


def ends_of(trace: Mapping[str, Any], axis: str) -> list[Any]:
    """Values of a trace that an axis must hold; those of bars are both of their ends."""
    values = list(trace[axis])
    along = "x" if trace.get("orientation") == "h" else "y"
    if trace["type"] == "bar" and axis == along:
        base = trace.get("base")
        if base is None:
            return [*values, 0.0]
        if isinstance(base[0], str):
            return list(base)
        return [*base, *(b + v for b, v in zip(base, values, strict=True))]
    error = trace.get("error_y")
    if error and axis == "y":
        above = [v + e for v, e in zip(values, error["array"], strict=True)]
        below = [v - e for v, e in zip(values, error["arrayminus"], strict=True)]
        return [*values, *above, *below]
    return values


def trace_marks(chart: Chart, frame: Frame) -> Iterator[str]:
    """Elements of every trace, in drawn order."""
    if not frame.axes:
        return
    heights: dict[Any, float] = {}
    before: list[tuple[float, float]] = []
    for i, trace in enumerate(chart.data):
        if trace["type"] == "bar":
            yield _bars(chart, frame, i, heights)
            continue
        y = frame.strip if trace.get("yaxis") == "y2" and frame.strip else frame.y
        points = [
            (frame.x.place(frame.x.number(a)), y.place(y.number(b)))
            for a, b in zip(trace["x"], trace["y"], strict=True)
        ]
        points = _shifted(chart, frame, trace, points)
        mode = trace.get("mode", "lines")
        if mode == "text":
            yield from _texts(frame, trace, points)
        if "lines" in mode and points:
            yield _line(trace, points, before, frame.name)
            before = points
        if "markers" in mode:
            yield from _points(frame, trace, points)


def _line(
    trace: Mapping[str, Any],
    points: list[tuple[float, float]],
    before: Sequence[tuple[float, float]],
    name: str,
) -> str:
    cut = f'clip-path="url(#{name}-c)" '
    line = trace.get("line", {})
    if trace.get("fill"):
        colour, opacity = colour_of(trace.get("fillcolor"))
        around = points if trace["fill"] == "toself" else [*before, *reversed(points)]
        path = line_path(around, closed=True)
        see = f'fill="currentColor" fill-opacity="{opacity:g}"'
        return f'<path {cut}class="{colour}" {see} d="{path}"/>'
    if not line.get("width", 2):
        return ""
    if line.get("shape") == "hvh":
        points = _stepped(points)
    colour, opacity = colour_of(line.get("color"))
    return (
        f'<path {cut}class="{colour}" fill="none" stroke="currentColor" '
        f'stroke-width="{line.get("width", 2):g}"{_dash(line)}{_faint(opacity)} '
        f'd="{line_path(points)}"/>'
    )


def _dash(line: Mapping[str, Any]) -> str:
    dash = str(line.get("dash", "solid"))
    words = _DASHES.get(dash, dash.replace("px", "").replace(",", " "))
    return f' stroke-dasharray="{words}"' if words else ""


def _faint(opacity: float) -> str:
    return f' stroke-opacity="{opacity:g}"' if opacity < 1 else ""


def _stepped(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    out = [points[0]]
    for (x0, y0), (x1, y1) in pairwise(points):
        middle = (x0 + x1) / 2
        out += [(middle, y0), (middle, y1)]
    return [*out, points[-1]]


def _points(
    frame: Frame, trace: Mapping[str, Any], points: list[tuple[float, float]]
) -> Iterator[str]:
    marker = trace.get("marker", {})
    error = trace.get("error_y")
    colour, _ = colour_of(marker.get("color"))
    if error:
        lines = "".join(
            f"M{short(px)} {short(frame.y.place(v - low))}V{short(frame.y.place(v + high))}"
            for (px, _), v, low, high in zip(
                points, trace["y"], error["arrayminus"], error["array"], strict=True
            )
        )
        yield f'<path class="{colour}" stroke="currentColor" d="{lines}"/>'
    symbols = marker.get("symbol", "circle")
    each = [symbols] * len(points) if isinstance(symbols, str) else list(symbols)
    for symbol in dict.fromkeys(each):
        of_it = [p for p, s in zip(points, each, strict=True) if s == symbol]
        yield _marked(of_it, symbol, float(marker.get("size", 6)), colour)


def _marked(points: list[tuple[float, float]], symbol: str, size: float, colour: str) -> str:
    path = point_path(points, symbol, size)
    fill = "var(--sheet)" if "open" in symbol else "currentColor"
    if symbol == "x" or symbol.startswith("line"):
        fill = "none"
    dot = ""
    if symbol.endswith("dot"):
        dot = f'<path class="{colour}" fill="currentColor" d="{point_path(points, "circle", 3)}"/>'
    kind = "hollow" if fill.startswith("var") else ""
    paint = "" if kind else f' fill="{fill}"'
    name = " ".join(filter(None, (colour, kind)))
    return f'<path class="{name}"{paint} stroke="currentColor" stroke-width="2" d="{path}"/>{dot}'


def _texts(
    frame: Frame, trace: Mapping[str, Any], points: list[tuple[float, float]]
) -> Iterator[str]:
    end = "left" in str(trace.get("textposition", ""))  # left of the point
    for (px, py), words in zip(points, trace["text"], strict=True):
        at = f'x="{px:.0f}"{" text-anchor=" + chr(34) + "end" + chr(34) if end else ""}'
        bold = ' class="ink"' if (trace.get("textfont") or {}).get("weight") else ""
        said = html.escape(html.unescape(words))
        yield f'<text {at} y="{py + frame.font_px / 3:.0f}"{bold}>{said}</text>'


def _bars(chart: Chart, frame: Frame, place: int, heights: dict[Any, float]) -> str:
    trace = chart.data[place]
    flat = trace.get("orientation") == "h"
    across, along = (frame.y, frame.x) if flat else (frame.x, frame.y)
    names, values = (trace["y"], trace["x"]) if flat else (trace["x"], trace["y"])
    mode = chart.layout.get("barmode", "group")
    base = trace.get("base") or [0.0] * len(values)
    if mode == "stack":
        base = [heights.get(n, 0.0) for n in names]
        heights.update({n: b + v for n, b, v in zip(names, base, values, strict=True)})
    half, shift = _widths(chart, trace, across)
    boxes = []
    for k, (name, low, value) in enumerate(zip(names, base, values, strict=True)):
        middle = across.number(name) + shift
        wide = half[k] if isinstance(half, list) else half
        a, b = sorted((across.place(middle - wide), across.place(middle + wide)))
        if isinstance(low, str):
            start, end = dated(low), dated(low) + value / _DAY_MS
        else:
            start, end = low, low + value
        if start == end:
            continue
        c, d = sorted((along.place(start), along.place(end)))
        boxes.append((c, a, d, b) if flat else (a, c, b, d))
    marker = trace.get("marker", {})
    colour, opacity = colour_of(marker.get("color"))
    outline = (marker.get("line") or {}).get("width")
    stroke = ' stroke="currentColor"' if outline else ""
    fill = "currentColor"
    if (marker.get("pattern") or {}).get("shape"):
        fill, opacity = f"url(#{frame.name}-h{place})", 1.0
    see = f' fill-opacity="{opacity:g}"' if opacity < 1 else ""
    return f'<path class="{colour}" fill="{fill}"{see}{stroke} d="{bar_path(boxes)}"/>'


def _widths(
    chart: Chart, trace: Mapping[str, Any], across: Scale
) -> tuple[float | list[float], float]:
    """Half the width of a trace's bars on their axis, and how far they stand off their middle."""
    given = trace.get("width")
    if isinstance(given, list):
        return [w / 2 for w in given], 0.0
    if given is not None:
        return given / 2 / (_DAY_MS if across.kind == "date" else 1), 0.0
    room = _spacing(chart, across) * (1 - chart.layout.get("bargap", 0.2))
    if chart.layout.get("barmode", "group") != "group":
        return room / 2, 0.0
    bars = [t for t in chart.data if t["type"] == "bar"]
    place = next((i for i, t in enumerate(bars) if t is trace), 0)
    each = room / len(bars)
    return each / 2, (place - (len(bars) - 1) / 2) * each


def _spacing(chart: Chart, across: Scale) -> float:
    if across.kind == "category":
        return 1.0
    at = sorted({across.number(v) for t in chart.data if t["type"] == "bar" for v in t["x"]})
    return min((b - a for a, b in pairwise(at)), default=1.0)


def _shifted(
    chart: Chart, frame: Frame, trace: Mapping[str, Any], points: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Points that belong to a group of bars stand on their bars."""
    if chart.layout.get("scattermode") != "group" or frame.x.kind != "category":
        return points
    mates = [t for t in chart.data if t["type"] == "bar"]
    mate = next((t for t in mates if t.get("offsetgroup") == trace.get("offsetgroup")), None)
    if mate is None:
        return points
    _, shift = _widths(chart, mate, frame.x)
    off = frame.x.place(shift) - frame.x.place(0.0)
    return [(px + off, py) for px, py in points]


def marker_path(trace: Mapping[str, Any], left: float, middle: float) -> str:
    """Swatch of a trace for the key."""
    marker = trace.get("marker") or {}
    if "markers" in str(trace.get("mode", "")):
        symbols = marker.get("symbol", "circle")
        symbol = symbols if isinstance(symbols, str) else symbols[0]
        return _marked([(left, middle)], symbol, 9, colour_of(marker.get("color"))[0])
    if trace["type"] == "bar":
        colour, opacity = colour_of(marker.get("color"))
        box = bar_path([(left - 7, middle - 6, left + 7, middle + 6)])
        return f'<path class="{colour}" fill="currentColor" fill-opacity="{opacity:g}" d="{box}"/>'
    if trace.get("fill"):
        colour, opacity = colour_of(trace.get("fillcolor"))
        box = bar_path([(left - 7, middle - 6, left + 7, middle + 6)])
        return f'<path class="{colour}" fill="currentColor" fill-opacity="{opacity:g}" d="{box}"/>'
    line = trace.get("line", {})
    colour, _ = colour_of(line.get("color"))
    return (
        f'<path class="{colour}" stroke="currentColor" stroke-width="3"{_dash(line)} '
        f'd="M{left - 8:.0f} {middle:.0f}h16"/>'
    )
