"""Resole dates figure: when does each pair need a new sole, on one time axis shared by all?

Each pair is a line from the 10 % to the 90 % quantile of its due date with a mark at the median.
Its two feet are finer lines above (left) and below (right). A line that runs past the axis ends in
an arrow. The band is in the mark, in the words behind the name and in the hover text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from solespan.dashboards import theme, wording
from solespan.dashboards.chart import Chart, Trace, bar, scatter
from solespan.dashboards.empty import empty_figure
from solespan.dashboards.order import PAST_DAYS, axis_end, foot_rows, label_of, pair_rows

__all__ = ["resole_dates"]

ROW_PX = 58
# the drawing of the server: the next 18 months take most of the width
NEAR_MONTHS, NEAR_SHARE, LEAST_FAR_DAYS = 18, 0.78, 60
EDGE_PX = 96
PAIR_AT, FOOT_GAP = 0.20, 0.16
NAME_AT = -0.24


def resole_dates(forecast: pd.DataFrame, pairs: pd.DataFrame, *, today: pd.Timestamp) -> Chart:
    """Draw the due intervals of all pairs in use, soonest send-by date at the top.

    Parameters
    ----------
    forecast : DataFrame
        Columns `frames.FORECAST`; a missing quantile means beyond the horizon.
    pairs : DataFrame
        Columns `frames.PAIRS`, for the names.
    today : Timestamp
        Marked by a line; lines that began earlier are cut a month before it.
    """
    rows = pair_rows(forecast)
    rows = rows[~rows["band"].isin(("away", "retired"))].reset_index(drop=True)
    if rows.empty:
        return empty_figure(
            "No pair to forecast yet.",
            "Add a pair with its sole, or import a folder; a forecast follows even before the "
            "first check.",
        )
    axis = _Axis(today - pd.Timedelta(days=PAST_DAYS), axis_end(rows, today), today)
    labels = label_of(pairs)
    figure = Chart()
    names = [theme.shortened(labels.get(pair_id, pair_id), 22) for pair_id in rows["pair_id"]]
    figure.add_trace(_words(names, axis.start, "middle right", weight=600))
    figure.add_trace(_words(list(rows["band"]), axis.end, "middle left"))
    feet = foot_rows(forecast)
    for foot, offset in (("left", -FOOT_GAP), ("right", FOOT_GAP)):
        drawn = [
            (i, feet[pair_id][foot])
            for i, pair_id in enumerate(rows["pair_id"])
            if foot in feet.get(pair_id, {})
        ]
        if drawn:
            figure.add_trace(_foot_lines(foot, drawn, offset, axis))
    for band in theme.BAND_MARKS:
        of_band = rows[rows["band"] == band]
        if len(of_band):
            _add_band(figure, band, of_band, labels, axis)
    theme.dress(
        figure,
        height_px=EDGE_PX + ROW_PX * len(rows),
        x_title="day the limit is reached (date)",
        y_title="",
    )
    near = min(today + pd.DateOffset(months=NEAR_MONTHS), axis.end)
    meta: dict[str, Any] = {"rows": len(rows), "row_px": ROW_PX}
    if (axis.end - near).days > LEAST_FAR_DAYS:
        meta["split"] = (wording.iso(near), NEAR_SHARE)
    figure.update_layout(barmode="overlay", bargap=0, meta=meta)
    figure.update_xaxes(type="date", range=[wording.iso(axis.start), wording.iso(axis.end)])
    figure.update_yaxes(
        range=[len(rows) - 0.4, -0.6],
        showticklabels=False,
        showgrid=False,
        title={"text": "pairs (soonest first)"},
    )
    theme.today_line(figure, wording.iso(today))
    return figure


def _words(texts: list[str], at: pd.Timestamp, position: str, **font: Any) -> Trace:
    return scatter(
        x=[wording.iso(at)] * len(texts),
        y=[i + NAME_AT for i in range(len(texts))],
        text=texts,
        mode="text",
        textposition=position,
        textfont=font,
        hoverinfo="skip",
        showlegend=False,
        cliponaxis=False,
    )


@dataclass(frozen=True)
class _Axis:
    """The shared time axis: its ends, and today, from which intervals are said in words."""

    start: pd.Timestamp
    end: pd.Timestamp
    today: pd.Timestamp


def _due_words(row: Mapping[str, Any], axis: _Axis) -> str:
    return wording.due_sentence(row["due_p10"], row["due_p90"], today=axis.today, horizon_days=None)


def _span(row: Mapping[str, Any], axis: _Axis) -> tuple[pd.Timestamp, pd.Timestamp] | None:
    """Cut a due interval to the axis; None when all of it lies past the end."""
    first, last = row["due_p10"], row["due_p90"]
    if pd.isna(first) or first >= axis.end:
        return None
    last = axis.end if pd.isna(last) else min(last, axis.end)
    first = max(first, axis.start)
    return first, max(last, first + pd.Timedelta(days=1))


def _bars(
    spans: list[tuple[float, pd.Timestamp, pd.Timestamp]], width: float, **style: Any
) -> Trace:
    return bar(
        orientation="h",
        y=[at for at, _, _ in spans],
        base=[wording.iso(first) for _, first, _ in spans],
        x=[(last - first) / pd.Timedelta(milliseconds=1) for _, first, last in spans],
        width=[width] * len(spans),
        **style,
    )


def _foot_lines(
    foot: str,
    drawn: Sequence[tuple[int, Mapping[str, Any]]],
    offset: float,
    axis: _Axis,
) -> Trace:
    spans, hover = [], []
    for i, row in drawn:
        span = _span(row, axis)
        if span is not None:
            spans.append((i + PAIR_AT + offset, *span))
            words = _due_words(row, axis)
            hover.append(f"{foot} foot: {words}")
    return _bars(
        spans,
        0.055,
        marker={"color": theme.FOOT_MARKS[foot].colour, "line": {"width": 0}},
        name=f"{foot} foot ({'above' if foot == 'left' else 'below'})",
        hovertext=hover,
        hoverinfo="text",
    )


def _add_band(
    figure: Chart,
    band: str,
    rows: pd.DataFrame,
    labels: dict[str, str],
    axis: _Axis,
) -> None:
    """Add the lines, medians and arrows of the pairs of one band."""
    mark = theme.BAND_MARKS[band]
    spans, hover, marks, symbols, mark_hover = [], [], [], [], []
    row: Any
    for i, row in zip(rows.index, rows.to_dict("records"), strict=True):
        at = int(i) + PAIR_AT
        words = "<br>".join(
            (
                theme.shortened(labels.get(row["pair_id"], row["pair_id"]), 60),
                f"{band}: {_due_words(row, axis)}",
                wording.first_foot(row["first_foot"]),
            )
        )
        span = _span(row, axis)
        if span is not None:
            spans.append((at, *span))
            hover.append(words)
        median = row["due_p50"]
        if pd.notna(median) and median < axis.end:
            marks.append((max(median, axis.start), at))
            symbols.append(mark.symbol)
            mark_hover.append(words)
        if pd.isna(row["due_p90"]) or row["due_p90"] > axis.end:
            marks.append((axis.end, at))
            symbols.append("arrow-right")
            mark_hover.append(words)
    if spans:
        figure.add_trace(
            _bars(
                spans,
                0.17,
                marker={"color": theme.faded(mark.colour, 0.45), "line": {"width": 0}},
                hovertext=hover,
                hoverinfo="text",
                showlegend=False,
            )
        )
    figure.add_trace(
        scatter(
            x=[wording.iso(day) for day, _ in marks],
            y=[at for _, at in marks],
            mode="markers",
            marker={
                "symbol": symbols,
                "color": mark.colour,
                "size": 12,
                "line": {"width": 2, "color": mark.colour},
            },
            name=band,
            hovertext=mark_hover,
            hoverinfo="text",
            cliponaxis=False,
        )
    )
