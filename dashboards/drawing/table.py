"""Table of a drawing: which numbers does a figure draw, in drawn order?"""

from __future__ import annotations

import csv
import html
import io
from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

from solespan.dashboards.chart import Chart

__all__ = ["csv_text", "drawn_rows"]

_DAY_MS = 86_400_000


def drawn_rows(figure: Chart | go.Figure) -> list[tuple[str, str, str]]:
    """One row for each mark: what it is, where it stands along the width, and its value.

    Bars that begin above nothing have both ends.
    """
    data = figure.data if isinstance(figure, Chart) else figure.to_dict()["data"]
    rows = []
    for trace in data:
        if trace.get("mode") == "text" or trace.get("fill") == "toself":
            continue
        rows += _rows(trace)
    return rows


def csv_text(figure: Chart | go.Figure, headings: tuple[str, str, str]) -> str:
    """Write the same rows as a CSV file."""
    out = io.StringIO()
    csv.writer(out).writerows([headings, *drawn_rows(figure)])
    return out.getvalue()


def _rows(trace: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    name = str(trace.get("name") or (trace.get("meta") or {}).get("name") or "")
    base = trace.get("base")
    told = trace.get("text") or [""] * len(trace["x"])
    rows = []
    for i, (x, y) in enumerate(zip(trace["x"], trace["y"], strict=True)):
        at, value = _plain(x), _plain(y)
        if base is not None:
            along = x if trace.get("orientation") == "h" else y
            if isinstance(base[i], str):
                continue
            span = f"{_plain(base[i])} to {_plain(round(base[i] + along, 2))}"
            at, value = (span, value) if trace.get("orientation") == "h" else (at, span)
        words = told if isinstance(told, str) else told[i]
        rows.append((" ".join(filter(None, (name, html.unescape(str(words))))), at, value))
    return rows


def _plain(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value).replace("<br>", " ")
