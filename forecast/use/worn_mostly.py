"""Season in words: in which months is a pair worn mostly?"""

from __future__ import annotations

from calendar import month_name

import numpy as np

from solespan.forecast.use.calendar import UseAhead

__all__ = ["worn_mostly"]

_MOSTLY = 2.0 / 3.0  # of a year's wear, in six months in a row
_MONTH_ENDS = np.cumsum([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
_MONTHS, _RUN = 12, 6


def worn_mostly(ahead: UseAhead) -> list[str]:
    """Words for each pair, such as "from November to April"; empty where it has no such season.

    A pair needs a year of its own log, so that no season is told that only others show.
    """
    places = ahead.year.shape[1]
    middle = (np.arange(places) + 0.5) / places * _MONTH_ENDS[-1]
    month = np.searchsorted(_MONTH_ENDS, middle)
    days = np.array([np.bincount(month, row, _MONTHS) for row in ahead.year])
    runs = np.sum([np.roll(days, -k, axis=1) for k in range(_RUN)], axis=0)
    first = np.argmax(runs, axis=1)
    most = runs[np.arange(len(runs)), first] / days.sum(axis=1)
    return [
        f"from {month_name[at + 1]} to {month_name[(at + _RUN - 1) % _MONTHS + 1]}" if told else ""
        for at, told in zip(first.tolist(), ahead.year_known & (most >= _MOSTLY), strict=True)
    ]
