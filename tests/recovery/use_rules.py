"""How well do the use model and three simple rules tell wear days to come in a simulated world?

The rules are the last 180 days repeated, an exponential average, and the same days a year ago.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast import WearModel, wear_log
from solespan.forecast.dates.first_passage import normal_points
from solespan.forecast.model.wear_model import condition
from solespan.forecast.use.calendar import gamma_factor, wear_days_ahead
from solespan.synthetic_data import Simulated, world

HORIZONS = (90, 180, 365)
RULES = ("last_180_days", "exponential_average", "last_year")
_MEMORY_DAYS = 60.0  # half-life of the exponential average


def use_rows(name: str, seed: int, n_pairs: int) -> pd.DataFrame:
    """One row per pair that logs and horizon: actual, model, held (in the 80 % interval), rules."""
    drawn = world(name, seed, n_pairs=n_pairs, horizon_days=max(HORIZONS) + 1)
    log = wear_log(**drawn.frames)
    fit = WearModel(log, drawn.as_of).fit()
    known = condition(fit, log, drawn.as_of, max(HORIZONS))
    panel = known.panel
    ids = panel.pair_ids
    people = drawn.hidden_wearers.set_index("wearer_id")["forgotten_share"]
    kept = 1.0 - people.loc[panel.wearer_ids[panel.pair_wearer]].to_numpy()
    told = panel.has_sole & ~panel.unlogged
    rules = _rules(drawn, ids)
    worn = drawn.hidden_wear[drawn.hidden_wear["worn_on"] > drawn.as_of]
    parts = []
    for days in HORIZONS:
        within = worn[worn["worn_on"] <= drawn.as_of + pd.Timedelta(days=days)]
        actual = kept * within["pair_id"].value_counts().reindex(ids).fillna(0).to_numpy(float)
        expected, spread = wear_days_ahead(known.ahead, days)
        draws = expected[:, None] * gamma_factor(spread[:, None], normal_points()[8])
        low, high = np.quantile(draws, [0.1, 0.9], axis=1)
        held = (actual >= low) & (actual <= high)
        rows = {"world": name, "days": days, "actual": actual, "model": expected, "held": held}
        parts.append(pd.DataFrame(rows | rules[days])[told])
    return pd.concat(parts, ignore_index=True)


def _rules(drawn: Simulated, ids: np.ndarray) -> dict[int, dict[str, np.ndarray]]:
    """What each rule says by horizon, from the days that each pair was on a log."""
    wear, n = drawn.frames["wear_days"], len(ids)
    owner = drawn.frames["pairs"].set_index("pair_id")["wearer_id"].loc[ids]
    begun = wear.groupby(wear["pair_id"].map(owner))["worn_on"].min()
    fitted = drawn.frames["soles"].groupby("pair_id")["fitted_on"].min().loc[ids].to_numpy()
    first = np.maximum(fitted, begun.reindex(owner).fillna(drawn.as_of).to_numpy())
    known = np.maximum((drawn.as_of.to_datetime64() - first) / np.timedelta64(1, "D"), 1.0)
    age = (drawn.as_of - wear["worn_on"]).dt.days.to_numpy()
    pair = pd.Index(ids).get_indexer(wear["pair_id"].astype(object))

    def count(weight: np.ndarray) -> np.ndarray:
        return np.bincount(pair, weight, n)

    fade = _MEMORY_DAYS / np.log(2.0)
    recent = count(age < 180) / np.minimum(known, 180.0)
    average = count(np.exp(-age / fade)) / (fade * -np.expm1(-known / fade))
    out = {}
    for days in HORIZONS:
        year = count((age < 365) & (age >= 365 - days))
        year = np.where(known >= 365, year, recent * days)
        out[days] = dict(zip(RULES, (recent * days, average * days, year), strict=True))
    return out
