"""Plot register: which drawings does a results object offer?

The forecast library draws nothing. `solespan.dashboards.plots` puts its drawings here when it is
imported; each takes frames and the day of the fit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from solespan.forecast.errors import ForecastError

__all__ = ["PLOTS", "NoDrawing", "drawing"]

PLOTS: dict[str, Callable[..., Any]] = {}


class NoDrawing(ForecastError):
    """No drawing is loaded; import `solespan.dashboards.plots` first."""


def drawing(name: str) -> Callable[..., Any]:
    """Return one drawing.

    Raises
    ------
    NoDrawing
        `solespan.dashboards.plots` was not imported.
    """
    if name not in PLOTS:
        raise NoDrawing(f"plot_{name}: nothing draws; run `import solespan.dashboards.plots` first")
    return PLOTS[name]
