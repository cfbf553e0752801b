"""Due dates.

When will each pair be at its limit, which foot first, and by when should it be sent and booked?

`forecast` answers with one row per tracked foot and point and one per pair and point, in the
columns of `forecast.frames.FORECAST`. `forecast_columns` gives the same as arrays: a frame of one
wearer's few rows costs more than its numbers.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.dates.date_columns import Columns
from solespan.forecast.dates.due_columns import due_columns
from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.frames import FORECAST
from solespan.forecast.log import LogColumns, WearLog
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned, condition, condition_blocks
from solespan.forecast.panel.foot_pairs import foot_pairs
from solespan.forecast.settings import ForecastSettings
from solespan.forecast.values import day_of, instance_of, number_of

__all__ = ["due_sample", "forecast", "forecast_columns"]


def forecast(
    fit: WearFit,
    log: WearLog,
    as_of: str | pd.Timestamp,
    settings: ForecastSettings | None = None,
) -> pd.DataFrame:
    """Forecast every pair of a log.

    Parameters
    ----------
    fit : WearFit
        The population.
    log : WearLog
        All or some wearers (whole racks: a pair leans on its wearer's others).
    as_of : date-like
        The day of the forecast; nothing later is used.
    settings : ForecastSettings, optional

    Returns
    -------
    DataFrame
        Columns of `forecast.frames.FORECAST`: per pair and point the rows left, right, pair. Every
        pair has its three ball rows; a pair without a sole on it has empty dates.

    Raises
    ------
    TooLittleData
        No sole was fitted by `as_of`.

    Examples
    --------
    >>> from solespan.forecast import WearModel, forecast, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> fit = WearModel(log, as_of="2026-11-23").fit()
    >>> due = forecast(fit, log, as_of="2026-11-23")
    >>> resole = due[(due["foot"] == "pair") & (due["point"] == "ball")]
    >>> list(resole["pair_id"])
    ['P0001', 'P0002']
    >>> bool((resole["send_by"] < resole["due_p50"]).all())
    True
    """
    instance_of("fit", fit, WearFit, "a fit from WearModel(log, as_of).fit()")
    instance_of("log", log, WearLog | LogColumns, "a WearLog from wear_log")
    if settings is not None:
        instance_of("settings", settings, ForecastSettings, "ForecastSettings(...), or None")
    day = day_of("as_of", as_of)
    return pd.DataFrame(forecast_columns(fit, log, day, settings or ForecastSettings()))


def forecast_columns(
    fit: WearFit,
    log: WearLog | LogColumns,
    as_of: str | pd.Timestamp,
    settings: ForecastSettings,
) -> Columns:
    """Forecast every pair of a log, as `forecast` does, into one array per column of its frame."""
    day = pd.Timestamp(as_of).normalize()

    def rows(known: Conditioned) -> Columns:
        return due_columns(known, settings)

    parts = condition_blocks(fit, log, day, settings.horizon_days, rows)
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    _, pair = np.unique(columns["pair_id"], return_inverse=True)
    order = np.lexsort((columns["_foot"], columns["_point"], pair))
    columns["as_of"] = np.full(len(order), np.datetime64(day, "s"))
    return {c.name: columns[c.name][order] for c in FORECAST}


def due_sample(
    fit: WearFit, log: WearLog, as_of: str | pd.Timestamp, horizon_days: int = 1826
) -> pd.DataFrame:
    """Draws of the days until each pair's resole is due, for scoring.

    Returns
    -------
    DataFrame, shape (pairs with a sole on, 512)
        Index pair_id; days from `as_of`, cut at the horizon.

    Examples
    --------
    >>> from solespan.forecast import WearModel, due_sample, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> fit = WearModel(log, as_of="2026-11-23").fit()
    >>> days = due_sample(fit, log, as_of="2026-11-23")
    >>> days.shape
    (2, 512)
    >>> chance_within_a_year = (days <= 365).mean(axis=1)
    """
    instance_of("fit", fit, WearFit, "a fit from WearModel(log, as_of).fit()")
    instance_of("log", log, WearLog | LogColumns, "a WearLog from wear_log")
    number_of("horizon_days", horizon_days, 1, 36_500, whole=True, unit="days")
    known = condition(fit, log, day_of("as_of", as_of), horizon_days)
    feet = foot_pairs(known.panel, ball_only=True)
    days = np.minimum(due_draws(known, feet).days[2], horizon_days)
    return pd.DataFrame(days, index=known.panel.pair_ids[known.panel.path_pair[feet.left]])
