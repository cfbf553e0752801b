"""Wear path figure.

How thick are both soles of a pair now, and when do they come down to the limit?

Readings are marks, and the fitted thickness is a line. The expected thickness is a fan that widens.
The limit is a dashed line, today a dotted one. The ball only: there a hole comes first.
"""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from solespan.dashboards import theme, wording
from solespan.dashboards.empty import empty_figure

__all__ = ["wear_path"]

POINT = "ball"
HEIGHT_PX = 420
HEADROOM_MM = 0.4
AFTER_LIMIT_DAYS = 30
GRADES_AT = {"left": 0.36, "right": 0.14}
GRADE_SYMBOLS = {
    "firm": "circle-open",
    "give": "circle-open-dot",
    "soft": "circle",
    "hole": "x",
}


def wear_path(path: pd.DataFrame, checks: pd.DataFrame, *, today: pd.Timestamp) -> go.Figure:
    """Draw the thickness of both feet of one pair over time, in mm.

    Parameters
    ----------
    path : DataFrame
        Columns `frames.PATH`, of one pair; days after both feet are past their limit are left out.
    checks : DataFrame
        Columns `frames.CHECKS`, of the same pair.
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
    path = _until_past_limit(path).sort_values("on_date")
    figure = go.Figure()
    for foot in ("left", "right"):
        of_foot = path[path["foot"] == foot]
        for _, of_sole in of_foot.groupby("sole_id", sort=False):
            _add_fan(figure, foot, of_sole)
    for foot in ("left", "right"):
        of_foot = path[path["foot"] == foot]
        for number, (_, of_sole) in enumerate(of_foot.groupby("sole_id", sort=False)):
            _add_line(figure, foot, of_sole, named=number == 0)
        _add_readings(figure, foot, readings[readings["foot"] == foot], named=of_foot.empty)
        _add_grades(figure, foot, graded[graded["foot"] == foot])
    _add_limit(figure, path)
    theme.dress(
        figure, height_px=HEIGHT_PX, x_title="date", y_title=f"thickness at the {POINT} (mm)"
    )
    top = max([1.0, *path["thickness_mm_p90"].dropna(), *readings["value_mm"]])
    figure.update_xaxes(type="date")
    figure.update_yaxes(range=[0, top + HEADROOM_MM])
    theme.today_line(figure, wording.iso(today))
    return figure


def _until_past_limit(path: pd.DataFrame) -> pd.DataFrame:
    """Leave out the days long after every foot is at its limit even in the best case."""
    above = path[path["thickness_mm_p90"] > path["limit_mm"]]
    if above.empty:
        return path
    last = above["on_date"].max() + pd.Timedelta(days=AFTER_LIMIT_DAYS)
    kept: pd.DataFrame = path[path["on_date"] <= last]
    return kept


def _days(frame: pd.DataFrame, column: str = "on_date") -> list[str]:
    return [wording.iso(day) for day in frame[column]]


def _rounded(values: pd.Series) -> list[float]:
    return [round(float(v), 3) for v in values]


def _add_fan(figure: go.Figure, foot: str, path: pd.DataFrame) -> None:
    known = path[path["thickness_mm_p10"].notna() & path["thickness_mm_p90"].notna()]
    if len(known) < 2:
        return
    days = _days(known)
    colour = theme.FOOT_MARKS[foot].colour
    figure.add_trace(
        go.Scatter(
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


def _add_line(figure: go.Figure, foot: str, path: pd.DataFrame, *, named: bool) -> None:
    mark = theme.FOOT_MARKS[foot]
    past = path[~path["ahead"]]
    ahead = pd.concat([past.tail(1), path[path["ahead"]]])
    for part, width, word in ((past, 3, "fitted"), (ahead, 1.5, "expected")):
        if len(part) < 2:
            continue
        figure.add_trace(
            go.Scatter(
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


def _add_readings(figure: go.Figure, foot: str, readings: pd.DataFrame, *, named: bool) -> None:
    if readings.empty:
        return
    mark = theme.FOOT_MARKS[foot]
    figure.add_trace(
        go.Scatter(
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


def _add_grades(figure: go.Figure, foot: str, graded: pd.DataFrame) -> None:
    """Mark thumb grades along the foot of the figure, left above right: they have no thickness."""
    if graded.empty:
        return
    figure.add_trace(
        go.Scatter(
            x=_days(graded, "checked_on"),
            y=[GRADES_AT[foot]] * len(graded),
            mode="markers",
            marker={
                "symbol": [GRADE_SYMBOLS[grade] for grade in graded["grade"]],
                "size": 8,
                "color": theme.FOOT_MARKS[foot].colour,
            },
            text=list(graded["grade"]),
            name=f"{foot} thumb grade",
            showlegend=False,
            hovertemplate=f"{foot} foot, thumb<br>%{{x|%Y-%m-%d}}: %{{text}}<extra></extra>",
        )
    )


def _add_limit(figure: go.Figure, path: pd.DataFrame) -> None:
    limited = path[path["limit_mm"].notna()]
    for number, (_, of_sole) in enumerate(limited.groupby("sole_id", sort=False)):
        limit_mm = float(of_sole["limit_mm"].iloc[0])
        days = [of_sole["on_date"].min(), of_sole["on_date"].max()]
        figure.add_trace(
            go.Scatter(
                x=[wording.iso(day) for day in days],
                y=[limit_mm] * 2,
                mode="lines",
                line={"color": theme.LIMIT_COLOUR, "width": 2, "dash": "dash"},
                name=f"limit {wording.millimetres(limit_mm)}",
                legendgroup="limit",
                showlegend=number == 0,
                hoverinfo="name",
            )
        )
