"""Entry of a wear model: what must a model say, to be forecast from and scored beside others?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.dates.models.due_frame import due_frame
from solespan.forecast.log import WearLog
from solespan.forecast.panel.log_arrays import log_arrays
from solespan.forecast.panel.panel_of_log import panel_of
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.settings import ForecastSettings

__all__ = ["DueModel", "DueRows"]


@dataclass(frozen=True)
class DueRows:
    """Days until due of some feet and pairs, as a model draws them.

    rows : DataFrame
        pair_id, foot, point, and those other columns of `forecast.frames.FORECAST` that the model
        can fill but dates, chances and bands. Each pair with a sole on has a row `pair`, `ball`.
    days : ndarray, shape (rows, draws)
        Evenly likely days until due, cut at the horizon.
    """

    rows: pd.DataFrame
    days: np.ndarray

    @property
    def resoles(self) -> pd.DataFrame:
        """Days until each pair's resole, shape (pairs, draws), index pair_id."""
        main = ((self.rows["foot"] == "pair") & (self.rows["point"] == "ball")).to_numpy()
        return pd.DataFrame(self.days[main], index=self.rows.loc[main, "pair_id"].to_numpy())


def _nothing(_log: WearLog, _as_of: pd.Timestamp, _start: Any) -> None:
    """Fit nothing: the model reads the log alone."""


@dataclass(frozen=True)
class DueModel:
    """One way to say from a log when soles are due.

    name : str
        For the command line and the columns of a look back.
    words : str
        In the table of a look back.
    reason : str
        What a row of the forecast file is based on, where the model does not say so by row.
    draw : callable (log, as_of, horizon_days, fit) -> DueRows
        Reads nothing later than `as_of`.
    fit : callable (log, as_of, start) -> Any, optional
        What the model learns beforehand; `start` is an earlier one or None.
    frame : callable (fit, log, as_of, settings) -> DataFrame, optional
        The forecast file, where the model fills more of it than its rows and draws give.
    fit_parts : callable (runner, log, as_of, start) -> Any, optional
        The same fit, where a `forecast.panel.wearer_parts.Runner` has parts of the log.
    """

    name: str
    words: str
    reason: str
    draw: Callable[[WearLog, pd.Timestamp, int, Any], DueRows]
    fit: Callable[[WearLog, pd.Timestamp, Any], Any] = _nothing
    frame: Callable[[Any, WearLog, pd.Timestamp, ForecastSettings], pd.DataFrame] | None = None
    fit_parts: Callable[[Runner, WearLog, pd.Timestamp, Any], Any] | None = None

    def fit_on(
        self, runner: Runner | None, log: WearLog, as_of: pd.Timestamp, start: Any = None
    ) -> Any:
        """Fit to a log: here, or part by part where the model can and there is a runner."""
        if runner is None or self.fit_parts is None:
            return self.fit(log, as_of, start)
        return self.fit_parts(runner, log, as_of, start)

    def forecast(
        self, log: WearLog, as_of: pd.Timestamp, settings: ForecastSettings, fit: Any = None
    ) -> pd.DataFrame:
        """Return the forecast file of a log; columns of `forecast.frames.FORECAST`.

        Raises
        ------
        TooLittleData
            No sole was fitted by `as_of`.
        """
        if self.frame is not None:
            return self.frame(fit, log, as_of, settings)
        arrays = log_arrays(log, as_of)
        panel = panel_of(arrays)
        said = self.draw(log, as_of, settings.horizon_days, fit)
        words = self.name, self.reason
        return due_frame(said.rows, said.days, panel, arrays.away, settings, words)
