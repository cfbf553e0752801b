"""Left right figure: does one foot wear its sole faster than the other, and by how much?"""

from __future__ import annotations

import pandas as pd

from solespan.dashboards import theme
from solespan.dashboards.chart import Chart, bar, scatter
from solespan.dashboards.empty import empty_figure
from solespan.dashboards.order import label_of

__all__ = ["left_right"]

PER_DAYS = 100
ROW_PX = 46
EDGE_PX = 110


def left_right(forecast: pd.DataFrame, pairs: pd.DataFrame, *, today: pd.Timestamp) -> Chart:
    """Draw the median wear rate of the left and the right foot, joined by a line.

    One pair shows its points (ball, toe, heel); several pairs show their balls. `today` changes
    nothing here and is taken because every figure takes it.

    Parameters
    ----------
    forecast : DataFrame
        Columns `frames.FORECAST`; rates in mm per standard wear day are shown per 100 such days.
    pairs : DataFrame
        Columns `frames.PAIRS`, for the names.
    """
    del today
    rows = forecast[
        forecast["foot"].isin(("left", "right")) & forecast["rate_mm_per_wear_day_p50"].notna()
    ]
    one_pair = len(set(rows["pair_id"])) == 1
    if not one_pair:
        rows = rows[rows["point"] == "ball"]
    rates = rows.pivot_table(
        index=["pair_id", "point"], columns="foot", values="rate_mm_per_wear_day_p50"
    )
    rates = rates.reindex(columns=["left", "right"]).dropna() * PER_DAYS
    if rates.empty:
        return empty_figure(
            "No wear rate for both feet yet.",
            "Check the left and the right shoe on the same day; the difference shows from there.",
        )
    labels = label_of(pairs)
    names = [
        point if one_pair else theme.shortened(labels.get(pair_id, pair_id), 18)
        for pair_id, point in rates.index
    ]
    at = list(range(len(rates)))
    low, high = rates.min(axis=1), rates.max(axis=1)
    figure = Chart(
        bar(
            orientation="h",
            y=at,
            base=[round(float(v), 4) for v in low],
            x=[round(float(v), 4) for v in high - low],
            width=[0.06] * len(at),
            marker={"color": "#7d8a8f", "line": {"width": 0}},
            hoverinfo="skip",
            showlegend=False,
        )
    )
    for foot in ("left", "right"):
        mark = theme.FOOT_MARKS[foot]
        figure.add_trace(
            scatter(
                x=[round(float(v), 4) for v in rates[foot]],
                y=at,
                mode="markers",
                marker={"symbol": mark.symbol, "color": mark.colour, "size": 13},
                name=f"{foot} foot",
                text=names,
                hovertemplate=f"%{{text}}, {foot} foot<br>%{{x:.2f}} mm<extra></extra>",
            )
        )
    theme.dress(
        figure,
        height_px=EDGE_PX + ROW_PX * len(at),
        x_title=f"wear (mm per {PER_DAYS} standard wear days)",
        y_title="",
    )
    figure.update_layout(showlegend=True)
    figure.update_xaxes(rangemode="tozero")
    figure.update_yaxes(
        tickvals=at,
        ticktext=names,
        range=[len(at) - 0.4, -0.6],
        showgrid=False,
        title={"text": "point" if one_pair else "pair"},
    )
    return figure
