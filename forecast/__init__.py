"""When will each pair of shoes need a new sole, and how sure is that?

The pure library: frames in, frames out; no file, clock, network or global chance. A map:
<<<<<<< HEAD
`frames` (the contract), `log` (checked input), `panel` and `exposure` (log to arrays),
`coordinates`, `linearise`, `slips`, `nested`, `hierarchy`, `estimation` (the nested log-rate
model), `usage`, `wear_counts`, `calendar` (use), `sole_state`, `first_passage`, `due` (dates),
`one_pair`, `joint`, `wear_curve`, `paths` (thickness by day), `drivers`, `next_checks`, `explain`
(why, in words), `curvature`, `diagnostics` (can the fit be trusted), `baselines`, `scores`,
`outcomes`, `backtest` (what is it worth).
=======
`frames` (the contract), `log` (checked input), `panel` (log to arrays), `use` (how often pairs are
worn), `model` (the nested log-rate model), `dates` (thickness to dates), `explaining` (why, in
words; thickness by day; can the fit be trusted), `backtesting` (what is it worth), `planning`,
`bench`, `workload`, `linear` (the linear mixed model beside it).
>>>>>>> house
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
