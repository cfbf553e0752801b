"""Wear model of the library: how does a user fit a log, and which wrong input is refused?

The engine is `forecast.model.wear_model`. This one checks what it is given and answers with a
`WearResults`, which carries the log.
"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from solespan.forecast.errors import BadArgument
from solespan.forecast.explaining.results.wear_results import WearResults
from solespan.forecast.log import WearLog
from solespan.forecast.model.fit_start import FitStart
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import WearModel as Engine
from solespan.forecast.values import day_of, instance_of

__all__ = ["WearModel"]


class WearModel(Engine):
    """The hierarchical wear model of a log, as known on one day.

    Parameters
    ----------
    log : WearLog
        Checked frames; rows later than `as_of` are not used.
    as_of : date-like
        The day whose knowledge is used.

    Raises
    ------
    BadArgument
        An argument cannot be meant.
    TooLittleData
        No sole was fitted by `as_of`.

    Examples
    --------
    >>> from solespan.forecast import WearModel, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> model = WearModel(wear_log(**made.frames), as_of="2026-11-23")
    >>> fit = model.fit()
    >>> fit.converged
    True
    """

    def __init__(self, log: WearLog, as_of: str | pd.Timestamp) -> None:
        self.log = instance_of("log", log, WearLog, "a WearLog from wear_log")
        super().__init__(log, day_of("as_of", as_of))

    def fit(
        self,
        progress: Callable[[str, float], None] | None = None,
        start: WearFit | FitStart | None = None,
        keep: Callable[[FitStart], None] | None = None,
    ) -> WearResults:
        """Learn the population and how pairs are used.

        Parameters
        ----------
        progress : callable (step, fraction), optional
            Told the step's name and how far the fit is, 0 to 1.
        start : WearFit or FitStart, optional
            An earlier fit, or where one was stopped, whose spreads and noise to start from.
        keep : callable (FitStart), optional
            Told after each round where the fit stands; given as `start` it goes on from there.

        Returns
        -------
        WearResults
        """
        for name, value in (("progress", progress), ("keep", keep)):
            if value is not None and not callable(value):
                raise BadArgument(name, value, "a function, or None")
        if start is not None:
            instance_of("start", start, WearFit | FitStart, "an earlier fit, or None")
        return WearResults.of(super().fit(progress, start, keep), self.log)
