"""Marks of a drawing: which paths draw the lines, bars and points of one trace, in few bytes?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

__all__ = ["bar_path", "line_path", "point_path", "short"]

Point = tuple[float, float]
_TOLERANCE_PX = 0.4
# shapes of a point around its middle, by the figure library's name; r is half the size
_SHAPES = {
    "square": "m{-r} {-r}h{2r}v{2r}h{-2r}z",
    "diamond": "m0 {-r}l{r} {r}l{-r} {r}l{-r} {-r}z",
    "triangle-up": "m0 {-r}l{r} {2r}h{-2r}z",
    "triangle-right": "m{-r} {-r}l{2r} {r}l{-2r} {r}z",
    "arrow-right": "m{-r} {-r}l{2r} {r}l{-2r} {r}z",
    "line-ew-open": "m{-r} 0h{2r}",
    "x": "m{-r} {-r}l{2r} {2r}m0 {-2r}l{-2r} {2r}",
}
_CIRCLE = "m{-r} 0a{r} {r} 0 1 0 {2r} 0a{r} {r} 0 1 0 {-2r} 0z"


def short(value: float) -> str:
    """Write a pixel with at most one decimal."""
    text = f"{value:.1f}"
    return text.removesuffix(".0") if text != "-0.0" else "0"


def line_path(points: Sequence[Point], *, closed: bool = False) -> str:
    """A line through points; those that change it by less than half a pixel are left out."""
    kept = list(points) if closed else _thinned(np.array(points, float))
    return f"M{'L'.join(f'{short(x)} {short(y)}' for x, y in kept)}{'Z' if closed else ''}"


def bar_path(boxes: Iterable[tuple[float, float, float, float]]) -> str:
    """Rectangles from (left, top) to (right, bottom), as one path."""
    return "".join(
        f"M{short(left)} {short(top)}H{short(right)}V{short(bottom)}H{short(left)}Z"
        for left, top, right, bottom in boxes
    )


def point_path(points: Iterable[Point], symbol: str, size_px: float) -> str:
    """Points of one shape, as one path."""
    shape = _SHAPES.get(symbol.removesuffix("-open").removesuffix("-open-dot"), "")
    shape = shape or _SHAPES.get(symbol, _CIRCLE)
    r = size_px / 2
    for name, value in (("{-2r}", -2 * r), ("{2r}", 2 * r), ("{-r}", -r), ("{r}", r)):
        shape = shape.replace(name, short(value))
    return "".join(f"M{short(x)} {short(y)}{shape}" for x, y in points)


def _thinned(points: np.ndarray) -> list[Point]:
    """Points of a line by the rule of Ramer, Douglas and Peucker (from memory)."""
    keep = np.zeros(len(points), bool)
    keep[[0, -1]] = True
    stack = [(0, len(points) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        (x0, y0), (x1, y1) = points[first], points[last]
        between = points[first + 1 : last]
        length = np.hypot(x1 - x0, y1 - y0) or 1.0
        off = np.abs((x1 - x0) * (between[:, 1] - y0) - (y1 - y0) * (between[:, 0] - x0)) / length
        far = int(off.argmax())
        if off[far] > _TOLERANCE_PX:
            at = first + 1 + far
            keep[at] = True
            stack += [(first, at), (at, last)]
    return [(float(x), float(y)) for x, y in points[keep]]
