"""Rack bar: how is a pair's due date drawn on the time axis that the list shares?

The next 18 months are linear on 78 % of the width. The years after them share the rest, which is
tinted. An arrow goes on past five years.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
from markupsafe import Markup

from solespan.dashboards import wording
from solespan.dashboards.order import AT_REST

__all__ = ["bar_axis", "bar_of"]

_NEAR_DAYS, _NEAR_PERCENT = 548, 78.0
_END_DAYS = 1826
_ROOM_PERCENT = 21.0  # between two labels: 44 px of a phone's bar
_LEAST_PERCENT = 1.5


def bar_of(row: dict[str, Any], today: pd.Timestamp) -> Markup:
    """Draw the days from 10 to 90 % and the middle; empty for a pair at rest or far off."""
    first, middle, last = row["due_p10"], row["due_p50"], row["due_p90"]
    mark = str(row["band"]).replace(" ", "-")
    parts = ""
    if row["band"] not in AT_REST:
        start = 100.0 if pd.isna(first) else _percent((first - today).days)
        beyond = pd.isna(last) or (last - today).days > _END_DAYS
        end = 100.0 if beyond else _percent((last - today).days)
        start = min(start, 100.0 - _LEAST_PERCENT)
        width = max(end - start, _LEAST_PERCENT)
        parts = f'<rect class="p" x="{start:.1f}%" width="{width:.1f}%"/>'
        if not pd.isna(middle) and (middle - today).days <= _END_DAYS:
            parts += f'<rect class="m" x="{_percent((middle - today).days):.1f}%"/>'
        if beyond:
            parts += '<use class="e" href="#on" x="100%"/>'
    return Markup(  # noqa: S704 - numbers and words of our own
        f'<svg class="iv {mark}" aria-hidden="true"><use href="#ticks"/>{parts}</svg>'
    )


def bar_axis(today: pd.Timestamp) -> list[dict[str, str]]:
    """Name the ticks of the axis: now, each half year that has room, and the last year."""
    out = [{"at": "0", "text": "now", "anchor": "start"}]
    last = 0.0
    for tick in pd.date_range(today, periods=18, freq="MS"):
        at = _percent((tick - today).days)
        if tick.month in (1, 7) and at - last >= _ROOM_PERCENT and at <= 100 - 1.6 * _ROOM_PERCENT:
            month = wording.MONTHS[tick.month - 1][:3]
            year = f" {tick.year % 100}" if tick.month == 1 else ""
            out.append({"at": f"{at:.1f}", "text": f"{month}{year}", "anchor": "middle"})
            last = at
    end = today + pd.Timedelta(days=_END_DAYS)
    return [*out, {"at": "100", "text": str(end.year), "anchor": "end"}]


def _percent(days: float) -> float:
    if days <= _NEAR_DAYS:
        return max(0.0, _NEAR_PERCENT * days / _NEAR_DAYS)
    far = (days - _NEAR_DAYS) / (_END_DAYS - _NEAR_DAYS)
    return min(100.0, _NEAR_PERCENT + (100 - _NEAR_PERCENT) * far)
