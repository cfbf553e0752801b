"""What-if forecasts.

What would each pair's date be under another habit or a plan, beside today's?
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from solespan.forecast.dates.date_columns import dates_of_days
from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.frames import DUE_QUANTILES
from solespan.forecast.log import WearLog
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned, condition
from solespan.forecast.panel.foot_pairs import FootPairs, foot_pairs
from solespan.forecast.planning.conditions import ConditionShare, condition_factors
from solespan.forecast.planning.errors import BadPlan
from solespan.forecast.planning.habits import Habit, Pace, Retire, Trip, wear_days_by_day
from solespan.forecast.planning.planned_use import planned, wear_days_now
from solespan.forecast.planning.quantiles import quantile_of_sorted
from solespan.forecast.settings import ForecastSettings

__all__ = ["ConditionShare", "Habit", "Pace", "Retire", "Trip", "what_if"]

WITHIN_DAYS = (90, 180, 365)


def what_if(
    fit: WearFit,
    log: WearLog,
    as_of: str | pd.Timestamp,
    habits: Sequence[Habit | ConditionShare] = (),
    *,
    plan: pd.DataFrame | None = None,
    rest_days: int | None = None,
    settings: ForecastSettings | None = None,
) -> pd.DataFrame:
    """Forecast the resole of every pair as things are and under other habits.

    Parameters
    ----------
    fit : WearFit
    log : WearLog
        Whole racks: what one pair is worn less, the wearer's others are worn more.
    as_of : date-like
    habits : sequence of Pace, Retire, Trip, ConditionShare
        Later ones stand over earlier ones.
    plan : DataFrame, optional
        Columns pair_id, worn_on: the wears of a dated plan; after its last day present habits
        go on.
    rest_days : int, optional
        Full days of rest after wear from now on, 0 to 6; None = as at present.
    settings : ForecastSettings, optional

    Returns
    -------
    DataFrame
        A row per pair with a sole on: pair_id, and for each of `due_p10`, `due_p50`, `due_p90`,
        `send_by`, `book_by` (dates; empty = beyond the horizon), `chance_90d`, `chance_180d`,
        `chance_365d` (probability) and `wear_days_365d` (expected wear days within 365 days)
        a column ending in `_now` and one ending in `_then`.

    Raises
    ------
    BadPlan
        A pair that is not on the rack (a retired one has no sole on), a day in the past, wears
        that leave no rest.
    TooLittleData
        No sole was fitted by `as_of`.
    """
    settings = settings or ForecastSettings()
    if rest_days is not None and not 0 <= rest_days <= 6:
        raise BadPlan(f"{rest_days} days of rest.", field="rest_days", accepted="0 to 6")
    day = pd.Timestamp(as_of).normalize()
    known = condition(fit, log, day, settings.horizon_days)
    panel = known.panel
    now = wear_days_now(known.ahead) * panel.has_sole[:, None]
    _refuse_bare(habits, plan, panel.pair_ids[~panel.has_sole])
    then, named = wear_days_by_day(
        now,
        list(panel.pair_ids),
        panel.pair_wearer,
        [h for h in habits if not isinstance(h, ConditionShare)],
        as_of=day,
        rest_days=rest_days,
        plan=plan,
    )
    conditions = [h for h in habits if isinstance(h, ConditionShare)]
    worn = log.wear_days[log.wear_days["worn_on"] <= day]
    factor = condition_factors(fit, worn, list(panel.pair_ids), conditions)
    ball = foot_pairs(panel, ball_only=True)
    before = _dates(known, ball, settings, now)
    if habits or rest_days is not None or (plan is not None and len(plan)):
        after = _dates(planned(known, log, then, named, factor), ball, settings, then)
    else:
        after = before
    frame = before.add_suffix("_now").join(after.add_suffix("_then"))
    return frame.rename_axis("pair_id").reset_index().sort_values("pair_id", ignore_index=True)


def _refuse_bare(
    habits: Sequence[Habit | ConditionShare], plan: pd.DataFrame | None, without_sole: np.ndarray
) -> None:
    named: list[str] = [] if plan is None else [str(p) for p in plan["pair_id"].unique()]
    for habit in habits:
        named += habit.pair_ids if isinstance(habit, Trip) else [habit.pair_id]
    bare = set(without_sole)
    for pair_id in named:
        if pair_id in bare:
            raise BadPlan(
                f"The pair {pair_id} is retired: it has no sole on.",
                field="pair_id",
                accepted="a pair with a sole on it",
            )


def _dates(
    known: Conditioned, feet: FootPairs, settings: ForecastSettings, wear_days: np.ndarray
) -> pd.DataFrame:
    panel = known.panel
    first = np.sort(due_draws(known, feet).days[2], axis=-1)
    pair = panel.path_pair[feet.left]
    columns: dict[str, np.ndarray] = {}
    for name in ("due_p10", "due_p50", "due_p90"):
        days = np.ceil(quantile_of_sorted(first, DUE_QUANTILES[name]))
        columns[name] = dates_of_days(panel.as_of_day, days, settings.horizon_days)
    send = np.floor(quantile_of_sorted(first, settings.risk))
    columns["send_by"] = dates_of_days(panel.as_of_day, send, settings.horizon_days)
    columns["book_by"] = settings.book_by(columns["send_by"])
    for within in WITHIN_DAYS:
        columns[f"chance_{within}d"] = (first <= within).mean(axis=-1)
    columns["wear_days_365d"] = wear_days[pair, :365].sum(axis=1)
    return pd.DataFrame(columns, index=panel.pair_ids[pair])
