"""Wear-day allowance.

How many wear days has each pair left, at the owner's risk, on this sole and on the next one?

Counted in wear days, the answer does not depend on how often the pair will be worn, so a planner
can share the wear out. The chance is over what remains on the sole and how much a wear day wears.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.dates.first_passage import normal_points
from solespan.forecast.log import WearLog
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import condition
from solespan.forecast.panel.foot_pairs import foot_pairs
from solespan.forecast.planning.planned_use import planned
from solespan.forecast.planning.quantiles import quantile_of_sorted
from solespan.forecast.settings import ForecastSettings
from solespan.forecast.use.calendar import days_until

__all__ = ["wear_allowance"]

MOST_WEAR_DAYS = 1500


def wear_allowance(
    fit: WearFit,
    log: WearLog,
    as_of: str | pd.Timestamp,
    settings: ForecastSettings | None = None,
) -> pd.DataFrame:
    """Wear days until the chance of being past the limit reaches the risk.

    Parameters
    ----------
    fit : WearFit
    log : WearLog
    as_of : date-like
    settings : ForecastSettings, optional
        `risk` is used.

    Returns
    -------
    DataFrame
        A row per pair with a sole on: pair_id, `wear_days_left` (at the risk),
        `wear_days_left_p50` (50 % chance), `wear_days_new` (at the risk, from a new sole like the
        one on it now: the pair's habit carries over), `wear_days_new_mean` (the same, as expected:
        what money is reckoned with), `wear_days_per_week` (present pace); all but pair_id numbers,
        at most 1500.
    """
    settings = settings or ForecastSettings()
    known = condition(fit, log, pd.Timestamp(as_of).normalize(), MOST_WEAR_DAYS)
    panel = known.panel
    feet = foot_pairs(panel, ball_only=True)
    # worn once on each day to come, a pair's due day is the number of wear days it has left
    every = np.ones((len(panel.pair_ids), MOST_WEAR_DAYS + 1))
    daily = planned(known, log, every, every > 0)
    draws = due_draws(daily, feet)
    left = np.sort(np.minimum(draws.days[2], MOST_WEAR_DAYS), axis=-1)
    spare_mm = np.maximum((panel.nominal_mm - panel.limit_mm)[feet.both], 0.0)
    fresh = (spare_mm[:, :, None] / draws.rate_mm).min(axis=0)
    pair = panel.path_pair[feet.left]
    normal = np.broadcast_to(normal_points()[8], fresh.shape)
    anew = np.empty(fresh.shape)
    for i, (row, points) in enumerate(zip(fresh, normal, strict=True)):
        anew[i] = np.sort(days_until(daily.ahead, row[None], points, pair[i : i + 1])[0])
    anew = np.minimum(anew, MOST_WEAR_DAYS)
    return pd.DataFrame(
        {
            "pair_id": panel.pair_ids[pair],
            "wear_days_left": np.floor(quantile_of_sorted(left, settings.risk)),
            "wear_days_left_p50": np.floor(quantile_of_sorted(left, 0.5)),
            "wear_days_new": np.floor(quantile_of_sorted(anew, settings.risk)),
            "wear_days_new_mean": np.round(anew.mean(axis=-1), 1),
            "wear_days_per_week": 7.0 * known.ahead.wear_days_per_day[pair],
        }
    ).sort_values("pair_id", ignore_index=True)
