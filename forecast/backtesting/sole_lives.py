"""Sole lives: how long did the user's own soles last, by the product-limit estimate?

No model stands behind it, so it lies beside the model's forecasts. A life ends on the day a sole
was due (`forecast.backtesting.outcomes`). Soles that are on, or were handed over early, are
censored. The estimate is of Kaplan and Meier (Journal of the American Statistical Association
53:457, 1958, from memory), made by statsmodels.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.backtesting.outcomes import soles_outcomes
from solespan.forecast.log import WearLog

__all__ = ["kaplan_meier", "median_life", "sole_lives"]

_Z95 = 1.959963984540054


def sole_lives(log: WearLog) -> pd.DataFrame:
    """List the life of every sole: sole_id, pair_id, material, days, due (False: censored)."""
    rows = soles_outcomes(log, None)
    soles = log.soles.set_index("sole_id").loc[rows["sole_id"]]
    due = rows["kind"].isin(["seen", "resoled"]).to_numpy(bool)
    worn = log.wear_days.groupby("pair_id")["worn_on"].max()
    seen = pd.Series(worn.reindex(soles["pair_id"]).to_numpy("datetime64[s]"), soles.index)
    last = soles["removed_on"].where(soles["removed_on"].notna(), seen)
    on_days = (last - soles["fitted_on"]).dt.days.to_numpy(float)
    above = rows["above_until_days"].to_numpy(float)
    unseen = (rows["kind"] == "open").to_numpy(bool) & ~(above > 0.0)
    censored = np.where(unseen, np.nan_to_num(on_days), above)
    out = rows[["sole_id", "pair_id"]].assign(
        material=soles["material"].to_numpy(),
        days=np.where(due, rows["days"].to_numpy(float), censored),
        due=due,
    )
    return out[out["days"] > 0.0].reset_index(drop=True)


def kaplan_meier(lives: pd.DataFrame) -> pd.DataFrame:
    """Estimate the share of soles that last longer: days, alive, low, high (95 %), at_risk."""
    if lives.empty:
        return pd.DataFrame(columns=["days", "alive", "low", "high", "at_risk"], dtype=float)
    found = _curve(lives)
    alive = np.asarray(found.surv_prob, float)
    inner = (alive > 0.0) & (alive < 1.0)
    p = np.where(inner, alive, 0.5)
    half = _Z95 * np.where(inner, found.surv_prob_se, 0.0) / (p * np.abs(np.log(p)))
    low, high = p ** np.exp(half), p ** np.exp(-half)  # on the log-log scale
    return pd.DataFrame(
        {
            "days": found.surv_times,
            "alive": alive,
            "low": np.where(inner, low, alive),
            "high": np.where(inner, high, alive),
            "at_risk": found.n_risk,
        }
    )


def median_life(lives: pd.DataFrame) -> tuple[float, float, float]:
    """Days until half of the soles are due, and its 95 % interval; NaN where it is not reached."""
    if not lives["due"].any():
        return np.nan, np.nan, np.nan
    found = _curve(lives)
    with np.errstate(divide="ignore", invalid="ignore"):  # at its end the curve may be 0
        low, high = found.quantile_ci(0.5)
    values = np.array([found.quantile(0.5), low, high], float)
    middle, low, high = np.where(np.isfinite(values), values, np.nan)
    return float(middle), float(low), float(high)


def _curve(lives: pd.DataFrame) -> Any:
    from statsmodels.duration.survfunc import SurvfuncRight  # noqa: PLC0415

    return SurvfuncRight(lives["days"].to_numpy(float), lives["due"].to_numpy(bool))
