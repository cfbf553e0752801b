"""Forecast library: when will each pair of shoes need a new sole, and how sure is that?

The pure library: frames in, frames out. No file, clock, network or global chance. `frames` is the
contract and `log` the checked input. `panel` makes arrays, `use` models how often pairs are worn,
`observation` models what owners log, and `model` is the nested log-rate model. `dates` turns
thickness into dates, and `dates.models` holds every wear model. `explaining` gives reasons and
diagnostics, and `backtesting` scores past forecasts. `planning`, `bench` and `workload` build on
forecasts.
"""

from solespan.forecast.backtesting.backtest import Backtest, backtest
from solespan.forecast.dates.due import due_sample, forecast
from solespan.forecast.explaining.diagnostics import Diagnostics, diagnose
from solespan.forecast.explaining.explain import Explanation, explain
from solespan.forecast.explaining.paths import wear_path
from solespan.forecast.explaining.results.wear_model import WearModel
from solespan.forecast.explaining.results.wear_results import WearResults
from solespan.forecast.log import WearLog, wear_log
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.settings import ForecastSettings

__all__ = [
    "Backtest",
    "Diagnostics",
    "Explanation",
    "ForecastSettings",
    "WearFit",
    "WearLog",
    "WearModel",
    "WearResults",
    "backtest",
    "diagnose",
    "due_sample",
    "explain",
    "forecast",
    "wear_log",
    "wear_path",
]
