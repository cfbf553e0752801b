"""When will each pair of shoes need a new sole, and how sure is that?

The pure library: frames in, frames out. No file, clock, network or global chance. A map: `frames`
(the contract), `log` (checked input), `panel` (log to arrays), `use` (how often pairs are worn),
`model` (the nested log-rate model), `dates` (thickness to dates), `explaining` (why, in words;
thickness by day; can the fit be trusted), `backtesting` (what is it worth), `planning`, `bench`,
`workload`, `linear` (the linear mixed model beside it).
"""

from solespan.forecast.backtesting.backtest import Backtest, backtest
from solespan.forecast.dates.due import due_sample, forecast
from solespan.forecast.explaining.diagnostics import Diagnostics, diagnose
from solespan.forecast.explaining.explain import Explanation, explain
from solespan.forecast.explaining.paths import wear_path
from solespan.forecast.log import WearLog, wear_log
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import WearModel
from solespan.forecast.settings import ForecastSettings

__all__ = [
    "Backtest",
    "Diagnostics",
    "Explanation",
    "ForecastSettings",
    "WearFit",
    "WearLog",
    "WearModel",
    "backtest",
    "diagnose",
    "due_sample",
    "explain",
    "forecast",
    "wear_log",
    "wear_path",
]
