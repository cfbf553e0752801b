"""Forecasts of parts: how are the pairs of a log forecast part by part, here or on other machines?

Given the population, wearers are independent. So a part's forecast is the same on any machine, and
with any other parts beside it.
"""

from __future__ import annotations

from functools import partial

import pandas as pd

from solespan.forecast.dates.due import forecast
from solespan.forecast.errors import TooLittleData
from solespan.forecast.log import WearLog
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.settings import ForecastSettings

__all__ = ["forecast_part", "forecast_parts"]


def forecast_part(
    fit: WearFit, log: WearLog, as_of: pd.Timestamp, settings: ForecastSettings | None = None
) -> pd.DataFrame | None:
    """Forecast every pair of a part; None where no sole was fitted by then."""
    try:
        return forecast(fit, log, as_of, settings)
    except TooLittleData:
        return None


def forecast_parts(
    runner: Runner,
    fit: WearFit,
    logs: list[WearLog],
    as_of: pd.Timestamp,
    settings: ForecastSettings | None = None,
) -> pd.DataFrame:
    """Forecast every pair of several logs; parameters as `forecast.dates.due.forecast`.

    Raises `TooLittleData` where no sole was fitted by `as_of` in any of them.
    """
    shared = [runner.share(fit)] * len(logs)
    one = partial(forecast_part, as_of=as_of, settings=settings)
    frames = runner.gather(runner.map(one, shared, runner.hold(logs)))
    told = [frame for frame in frames if frame is not None]
    if not told:
        raise TooLittleData(f"no sole was fitted by {as_of.date()}; add a pair with one sole")
    joined: pd.DataFrame = pd.concat(told, ignore_index=True)
    return joined
