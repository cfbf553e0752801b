"""Wear path figure.

How thick are both soles of a pair now, and when do they come down to the limit?

Readings are marks, and the fitted thickness is a line. The expected thickness is a fan that widens.
The limit is a dashed line, today a dotted one. The ball only: there a hole comes first.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from solespan.dashboards import theme, wording
from solespan.dashboards.chart import Chart, bar, scatter
from solespan.dashboards.empty import empty_figure
from solespan.dashboards.order import pair_rows

__all__ = ["wear_path"]

POINT = "ball"
HEIGHT_PX = 420
AFTER_LIMIT_DAYS = 30
GRADES_AT = {"left": 1, "right": 0}
SPARE_MM = 0.5
DUE_MM = 0.12  # how thick the due interval is drawn
MOST_DAYS = 40  # drawn of each line: more would not be seen
GRADE_SYMBOLS = {
    "firm": "circle-open",
    "give": "circle-open-dot",
    "soft": "circle",
    "hole": "x",
}


def wear_path(
    path: pd.DataFrame,
    checks: pd.DataFrame,
    forecast: pd.DataFrame | None = None,
    *,
    today: pd.Timestamp,
) -> Chart:
    """Draw the thickness of both feet of one pair over time, in mm.

    The fan is that of the foot that goes first. The due interval of the pair lies on the limit.

    Parameters
    ----------
    path : DataFrame
        Columns `frames.PATH`, of one pair; days after both feet are past their limit are left out.
    checks : DataFrame
        Columns `frames.CHECKS`, of the same pair.
    forecast : DataFrame, optional
        Columns `frames.FORECAST`, of the same pair.
    """
    path = path[(path["point"] == POINT) & path["thickness_mm_p50"].notna()]
    checks = checks[checks["point"] == POINT]
    readings = checks[checks["value_mm"].notna()]
    graded = checks[checks["grade"].notna()]
    if path.empty and checks.empty:
        return empty_figure(
            "No thickness to show yet.",
            "Log a check of the ball of each foot, by gauge or by thumb, and the path begins.",
        )
    path, earlier = _newest_sole(_until_past_limit(path).sort_values("on_date"))
    if len(path):
        readings, graded = (
            part[part["checked_on"] >= path["on_date"].min()] for part in (readings, graded)
        )
    first = _first_foot(path)
    figure = Chart(finding=_finding(path, today))
    for _, of_sole in path[path["foot"] == first].groupby("sole_id", sort=False):
        _add_fan(figure, first, of_sole[of_sole["ahead"]])
    _add_earlier(figure, path, earlier)
    for foot in ("left", "right"):
        of_foot = path[path["foot"] == foot]
        for number, (_, of_sole) in enumerate(of_foot.groupby("sole_id", sort=False)):
            _add_line(figure, foot, of_sole, named=number == 0)
        _add_readings(figure, foot, readings[readings["foot"] == foot], named=of_foot.empty)
    _add_limit(figure, path, forecast)
    _label_ends(figure)
    theme.dress(
        figure, height_px=HEIGHT_PX, x_title="date", y_title=f"thickness at the {POINT} (mm)"
    )
    values = [*path["thickness_mm_p50"], *readings["value_mm"]]
    low = min([1.0, *(v - SPARE_MM for v in (*path["limit_mm"].dropna(), *readings["value_mm"]))])
    figure.update_xaxes(type="date")
    figure.update_yaxes(range=[max(low, 0.0), max([1.0, *values]) + SPARE_MM])
    if len(graded):
        _add_grades(figure, graded)
    theme.today_line(figure, wording.iso(today))
    return figure


def _newest_sole(path: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Rows of the sole that began last, and those of the soles before it."""
    if path.empty:
        return path, path
    begun = path.groupby("sole_id")["on_date"].min()
    newest = path["sole_id"] == begun.idxmax()
    return path[newest], path[~newest]


def _add_earlier(figure: Chart, path: pd.DataFrame, earlier: pd.DataFrame) -> None:
    """Draw the soles before as thin lines, moved as if fitted on the day of this one."""
    for number, (_, of_sole) in enumerate(earlier.groupby("sole_id", sort=False)):
        later = path["on_date"].min() - of_sole["on_date"].min()
        for foot, of_foot in of_sole.groupby("foot"):
            drawn = _thinned(of_foot)
            figure.add_trace(
                scatter(
                    x=[wording.iso(day + later) for day in drawn["on_date"]],
                    y=_rounded(drawn["thickness_mm_p50"]),
                    mode="lines",
                    line={"color": theme.EARLIER_COLOUR, "width": 1},
                    name="earlier sole",
                    legendgroup="earlier",
                    showlegend=number == 0 and foot == "left",
                    hoverinfo="name",
                )
            )


def _label_ends(figure: Chart) -> None:
    """Name each foot at the end of its line."""
    for foot in ("left", "right"):
        lines = [t for t in figure.data if t.get("name") == f"{foot} foot"]
        if lines:
            lines[-1]["meta"] = {"label": foot}


def _first_foot(path: pd.DataFrame) -> str:
    """The foot that is thinner at the end of what is drawn."""
    last = path.groupby("foot")["thickness_mm_p50"].last()
    return str(last.idxmin()) if len(last) else "left"


def _finding(path: pd.DataFrame, today: pd.Timestamp) -> str:
    """What the figure shows, in words."""
    now = path[path["on_date"] <= today].groupby("foot").last()
    parts = [
        f"the {foot} sole is about {wording.millimetres(row['thickness_mm_p50'])}"
        for foot, row in now.iterrows()
    ]
    if not parts:
        return "Readings of both soles."
    limit = now["limit_mm"].dropna()
    line = f", the limit {wording.millimetres(limit.iloc[0])}" if len(limit) else ""
    said = wording.joined(parts)
    return f"{said[0].upper()}{said[1:]} thick{line}."


def _until_past_limit(path: pd.DataFrame) -> pd.DataFrame:
    """Leave out the days long after every foot is at its limit even in the best case."""
    above = path[path["thickness_mm_p90"] > path["limit_mm"]]
    if above.empty:
        return path
    last = above["on_date"].max() + pd.Timedelta(days=AFTER_LIMIT_DAYS)
    kept: pd.DataFrame = path[path["on_date"] <= last]
    return kept


def _thinned(path: pd.DataFrame) -> pd.DataFrame:
    """Every k-th day of a line, and its ends."""
    step = max(1, len(path) // MOST_DAYS)
    kept = path.iloc[::step]
    last = path.iloc[[-1]]
    return kept if kept.index[-1] == last.index[0] else pd.concat([kept, last])


def _days(frame: pd.DataFrame, column: str = "on_date") -> list[str]:
    return [wording.iso(day) for day in frame[column]]


def _rounded(values: pd.Series) -> list[float]:
    return [round(float(v), 3) for v in values]


def _add_fan(figure: Chart, foot: str, path: pd.DataFrame) -> None:
    known = path[path["thickness_mm_p10"].notna() & path["thickness_mm_p90"].notna()]
    if len(known) < 2:
        return
    known = _thinned(known)
    days = _days(known)
    colour = theme.FOOT_MARKS[foot].colour
    figure.add_trace(
        scatter(
            x=days + days[::-1],
            y=_rounded(known["thickness_mm_p90"]) + _rounded(known["thickness_mm_p10"])[::-1],
            mode="lines",
            fill="toself",
            fillcolor=theme.faded(colour, 0.16),
            line={"width": 0, "color": colour},
            hoverinfo="skip",
            showlegend=False,
            legendgroup=foot,
        )
    )


def _add_line(figure: Chart, foot: str, path: pd.DataFrame, *, named: bool) -> None:
    mark = theme.FOOT_MARKS[foot]
    past = path[~path["ahead"]]
    ahead = pd.concat([past.tail(1), path[path["ahead"]]])
    for part, width, word in ((past, 3, "fitted"), (ahead, 1.5, "expected")):
        if len(part) < 2:
            continue
        part = _thinned(part)  # noqa: PLW2901
        figure.add_trace(
            scatter(
                x=_days(part),
                y=_rounded(part["thickness_mm_p50"]),
                mode="lines",
                line={"color": mark.colour, "width": width, "dash": mark.dash},
                name=f"{foot} foot",
                legendgroup=foot,
                showlegend=named and part is past,
                hovertemplate=f"{foot} foot, {word}<br>about %{{y:.1f}} mm<extra></extra>",
            )
        )


def _add_readings(figure: Chart, foot: str, readings: pd.DataFrame, *, named: bool) -> None:
    if readings.empty:
        return
    mark = theme.FOOT_MARKS[foot]
    figure.add_trace(
        scatter(
            x=_days(readings, "checked_on"),
            y=_rounded(readings["value_mm"]),
            mode="markers",
            marker={"symbol": mark.symbol, "size": 9, "color": mark.colour},
            name=f"{foot} reading",
            showlegend=named,
            text=[wording.spaced(m) for m in readings["method"]],
            hovertemplate=f"{foot}, %{{text}}<br>%{{x|%Y-%m-%d}}: %{{y:.2f}} mm<extra></extra>",
        )
    )


def _add_grades(figure: Chart, graded: pd.DataFrame) -> None:
    """Mark thumb grades in a strip below, off the axis of mm: they have no thickness."""
    figure.update_yaxes(domain=[0.18, 1])
    figure.update_layout(
        yaxis2={
            "domain": [0, 0.1],
            "range": [-0.6, 1.6],
            "tickvals": [1, 0],
            "ticktext": ["left", "right"],
            "fixedrange": True,
            "showgrid": False,
            "zeroline": False,
        }
    )
    figure.update_xaxes(anchor="y2")
    for foot in ("left", "right"):
        of_foot = graded[graded["foot"] == foot]
        if of_foot.empty:
            continue
        figure.add_trace(
            scatter(
                x=_days(of_foot, "checked_on"),
                y=[GRADES_AT[foot]] * len(of_foot),
                yaxis="y2",
                mode="markers",
                marker={
                    "symbol": [GRADE_SYMBOLS[grade] for grade in of_foot["grade"]],
                    "size": 8,
                    "color": theme.FOOT_MARKS[foot].colour,
                },
                text=list(of_foot["grade"]),
                name=f"{foot} thumb grade",
                showlegend=False,
                hovertemplate=f"{foot}, thumb<br>%{{x|%Y-%m-%d}}: %{{text}}<extra></extra>",
            )
        )


def _add_limit(figure: Chart, path: pd.DataFrame, forecast: pd.DataFrame | None) -> None:
    limited = path[path["limit_mm"].notna()]
    for number, (_, of_sole) in enumerate(limited.groupby("sole_id", sort=False)):
        limit_mm = float(of_sole["limit_mm"].iloc[0])
        days = [of_sole["on_date"].min(), of_sole["on_date"].max()]
        figure.add_trace(
            scatter(
                x=[wording.iso(day) for day in days],
                y=[limit_mm] * 2,
                mode="lines",
                line={"color": theme.LIMIT_COLOUR, "width": 2, "dash": "dash"},
                name=f"limit {wording.millimetres(limit_mm)}",
                legendgroup="limit",
                showlegend=number == 0,
                hoverinfo="name",
                meta={"label": f"limit {limit_mm:.1f}"} if number == 0 else {},
            )
        )
    pair = (
        []
        if forecast is None
        else pair_rows(forecast).dropna(subset=["due_p10"]).to_dict("records")
    )
    if len(limited) and pair and pair[0]["due_p10"] <= path["on_date"].max():
        _add_due(figure, pair[0], float(limited["limit_mm"].iloc[-1]), path["on_date"].max())


def _add_due(figure: Chart, pair: Any, limit_mm: float, end: pd.Timestamp) -> None:
    """Lay the due interval of the pair on the limit, with a mark at its middle."""
    first = pair["due_p10"]
    last = end if pd.isna(pair["due_p90"]) else min(pair["due_p90"], end)
    colour = theme.BAND_MARKS["watch"].colour
    figure.add_trace(
        bar(
            orientation="h",
            base=[wording.iso(first)],
            x=[max((last - first) / pd.Timedelta(milliseconds=1), 1.0)],
            y=[limit_mm],
            width=[DUE_MM],
            marker={"color": theme.faded(colour, 0.6), "line": {"width": 1, "color": colour}},
            name="new sole due",
            hovertext=[f"new sole due {wording.iso(first)} to {wording.iso(last)}"],
            hoverinfo="text",
        )
    )
    if pd.notna(pair["due_p50"]) and pair["due_p50"] <= end:
        figure.add_trace(
            scatter(
                x=[wording.iso(pair["due_p50"])],
                y=[limit_mm],
                mode="markers",
                marker={"symbol": "diamond", "size": 11, "color": colour},
                name="middle estimate",
                showlegend=False,
                hovertemplate="middle estimate %{x|%Y-%m-%d}<extra></extra>",
            )
        )
