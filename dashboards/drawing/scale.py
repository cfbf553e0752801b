"""Scales: at which pixel does a value of a figure stand, and which ticks are named?

A scale is read from the same description that the figure library draws. A time axis may have a
break: its near part takes most of the width, and all that is later stands in the rest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from solespan.dashboards.wording import MONTHS

__all__ = ["Scale", "dated", "scale_of"]

LEAST_APART_PX = 44
_STEPS_MONTHS = (1, 3, 6, 12, 24, 60, 120)
_NICE = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class Scale:
    """One axis: `place` gives the pixel of a value.

    kind : date, linear or category. low, high : the ends as numbers (days since 1970 for dates).
    start_px, end_px : where the ends stand. names : of categories. at : named ticks, where given.
    split : (day, share of the width) of a time axis with a break.
    """

    kind: str
    low: float
    high: float
    start_px: float
    end_px: float
    names: tuple[str, ...] = ()
    at: Mapping[float, str] = field(default_factory=dict)
    split: tuple[float, float] | None = None

    def number(self, value: Any) -> float:
        """The value as a number of this axis."""
        if self.kind == "date":
            return dated(value)
        if self.kind == "category":
            return float(self.names.index(str(value)))
        return float(value)

    def place(self, value: float) -> float:
        """The pixel of a number of this axis."""
        share = (value - self.low) / ((self.high - self.low) or 1.0)
        if self.split is not None:
            day, width = self.split
            share = (
                width * (value - self.low) / (day - self.low)
                if value <= day
                else width + (1.0 - width) * (value - day) / ((self.high - day) or 1.0)
            )
        return self.start_px + share * (self.end_px - self.start_px)

    def ticks(self) -> list[tuple[float, str]]:
        """Pixels and names of the ticks; those too near to the one before are dropped."""
        if self.at:
            return [(self.place(value), name) for value, name in self.at.items()]
        if self.kind == "category":
            every = [(self.place(i), name) for i, name in enumerate(self.names)]
        elif self.kind == "date":
            every = self._dates()
        else:
            every = self._numbers()
        kept: list[tuple[float, str]] = []
        for px, name in every:
            if not kept or abs(px - kept[-1][0]) >= LEAST_APART_PX:
                kept.append((px, name))
        return kept

    def _numbers(self) -> list[tuple[float, str]]:
        room = abs(self.end_px - self.start_px)
        wanted = max((self.high - self.low) * LEAST_APART_PX / max(room, 1.0), 1e-9)
        power = 10.0 ** np.floor(np.log10(wanted))
        step = power * next(n for n in _NICE if n * power >= wanted * (1 - 1e-9))
        first = np.ceil(self.low / step - 1e-9) * step
        values = np.arange(first, self.high + 1e-9 * step, step)
        digits = 0 if step >= 1 else 1 if round(10 * step) == 10 * step else 2
        return [(self.place(float(v)), f"{v + 0.0:,.{digits}f}") for v in values]

    def _dates(self) -> list[tuple[float, str]]:
        if self.split is None:
            return self._months(self.low, self.high)
        near = self._months(self.low, self.split[0])
        return near + self._months(self.split[0], self.high)

    def _months(self, low: float, high: float) -> list[tuple[float, str]]:
        first, last = (pd.Timestamp(int(day), unit="D") for day in (np.ceil(low), high))
        months = max((last - first).days / 30.4, 0.1)
        room = abs(self.place(high) - self.place(low))
        step = next(
            (
                s
                for s in _STEPS_MONTHS
                if s * room / months >= LEAST_APART_PX * (1.0 if s > 6 else 1.2)
            ),
            240,
        )
        starts = pd.date_range(first, last, freq="MS")
        if months < 2 and len(starts) < 2:
            return [(self.place(low), f"{first.day} {MONTHS[first.month - 1][:3]}")]
        return [
            (self.place(dated(day)), str(day.year) if day.month == 1 else MONTHS[day.month - 1][:3])
            for day in starts
            if (12 * day.year + day.month - 1) % step == 0
        ]


def dated(value: Any) -> float:
    """Days since 1970-01-01 of a date in the description of a figure."""
    return float(np.datetime64(str(value)[:10], "D").astype(int))


def scale_of(
    axis: Mapping[str, Any],
    values: Sequence[Any],
    *,
    start_px: float,
    end_px: float,
    spare: float = 0.0,
    split: tuple[float, float] | None = None,
) -> Scale:
    """Read one axis of a description, which `values` (of all its marks) stand on.

    Parameters
    ----------
    axis : mapping
        `layout.xaxis` or `layout.yaxis` of the figure.
    spare : float
        Least room beyond the first and the last value, for bars.
    split : (day, share), optional
        The break of a time axis.
    """
    words = [v for v in values if isinstance(v, str)]
    kind = "date" if axis.get("type") == "date" else "category" if words else "linear"
    names = tuple(dict.fromkeys(map(str, values))) if kind == "category" else ()
    if kind == "category":
        return Scale(kind, -0.6, len(names) - 0.4, start_px, end_px, names)
    numbers = [dated(v) if kind == "date" else float(v) for v in values]
    given = axis.get("range")
    if given is not None:
        low, high = (dated(v) if kind == "date" else float(v) for v in given)
    else:
        low, high = min(numbers, default=0.0), max(numbers, default=1.0)
        if axis.get("rangemode") == "tozero":
            low = min(low, 0.0)
        spare = max(0.03 * (high - low), spare) or 0.5
        low -= 0 if low == 0 else spare
        high += spare
    at: dict[float, str] = {}
    if axis.get("tickvals") is not None:
        at = dict(zip(map(float, axis["tickvals"]), map(str, axis["ticktext"]), strict=True))
    return Scale(kind, low, high, start_px, end_px, at=at, split=split)
