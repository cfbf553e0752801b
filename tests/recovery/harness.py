"""How do forecasts of a simulated world score against what happens there, and against yardsticks?

`score` fits one world and returns one row a pair and one a pair and stretch of use; `score_all`
does so for many, two at a time. The oracle knows true rates and today's true thickness, and shares
the model's forecast of use; so does the plug-in of `tests.recovery.plug_in`.
"""

from __future__ import annotations

import multiprocessing
import os
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast import ForecastSettings, WearLog, WearModel, forecast, wear_log
from solespan.forecast.backtesting.scores import crps_sample
from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.dates.first_passage import normal_points
from solespan.forecast.dates.models.baselines import population_rate, straight_line
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned, condition
from solespan.forecast.panel.foot_pairs import FootPairs, foot_pairs
from solespan.forecast.use.calendar import days_until, gamma_factor, wear_days_ahead
from solespan.synthetic_data import Simulated, world
from tests.recovery.plug_in import plug_in_days

HORIZON_DAYS = 1826
USE_DAYS = (30, 90, 180)
QUANTILES = {"p10": 0.10, "p25": 0.25, "p50": 0.50, "p75": 0.75, "p90": 0.90}
IRREGULAR_SHARE = 0.25  # of the wearers of a world, those whose use varies most

# At least twelve worlds, the last eight of kinds that the model was not made for or leans on most.
FULL: tuple[tuple[str, int], ...] = (
    *(("score_world", seed) for seed in range(101, 107)),
    ("plain_logging", 201),
    ("gamma_rates", 202),
    ("unequal_forgetting", 203),
    ("drifting_use", 204),
    ("irregular_wearers", 205),
    ("thumb_only", 206),
    ("second_soles", 207),
    ("no_driver", 208),
    ("sparse_checks", 209),
)


@dataclass(frozen=True)
class Scored:
    """One world's rows and how long the fit took."""

    pairs: pd.DataFrame
    use: pd.DataFrame
    fit_s: float
    converged: bool


def log_of(drawn: Simulated) -> WearLog:
    """The world's log, checked."""
    return wear_log(**drawn.frames)


def score(name: str, seed: int, n_pairs: int | None = None) -> Scored:
    """Draw a world, fit it, forecast every pair and set what happens beside it.

    `pairs`: world, seed, wearer_id, pair_id; actual (days until due, cut at the horizon), p10 to
    p90, send_by (days; NaN: beyond the horizon), the CRPS of each forecaster in days, and the
    groups. `use`: days, expected, actual, crps, of wear days to be logged.
    """
    drawn = world(name, seed, n_pairs=n_pairs)
    log, as_of = log_of(drawn), drawn.as_of
    begun = time.perf_counter()
    fit = WearModel(log, as_of).fit()
    fit_s = time.perf_counter() - begun
    known = condition(fit, log, as_of, HORIZON_DAYS)
    feet = foot_pairs(known.panel, ball_only=True)
    pairs = _pair_rows(drawn, log, fit, known, feet)
    use = _use_rows(drawn, known)
    for frame in (pairs, use):
        frame.insert(0, "world", name)
        frame.insert(1, "seed", seed)
        frame["cluster"] = name + "-" + str(seed) + "-" + frame["wearer_id"]
    return Scored(pairs, use, fit_s, fit.converged)


def _of_two(arguments: tuple[str, int, int | None]) -> Scored:
    return score(*arguments)


def score_all(
    worlds: Iterable[tuple[str, int]], n_pairs: int | None = None, processes: int = 2
) -> list[Scored]:
    """Score many worlds, some at a time, each process on one core."""
    jobs = [(name, seed, n_pairs) for name, seed in worlds]
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # read by the new processes when they start
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=fresh) as pool:
        return list(pool.map(_of_two, jobs))


def _pair_rows(
    drawn: Simulated, log: WearLog, fit: WearFit, known: Conditioned, feet: FootPairs
) -> pd.DataFrame:
    panel, as_of = known.panel, drawn.as_of
    ids = panel.pair_ids[panel.path_pair[feet.left]]
    due = drawn.hidden_due
    due = due[(due["foot"] == "pair") & (due["point"] == "ball")].set_index("pair_id").loc[ids]
    actual = (due["due_on"] - as_of).dt.days.fillna(HORIZON_DAYS).clip(upper=HORIZON_DAYS)
    actual = actual.to_numpy(float)
    draws = due_draws(known, feet).days[2]
    point, plugged = plug_in_days(known, feet)
    line = straight_line(log, as_of, HORIZON_DAYS).resoles.loc[ids].to_numpy()
    rate = population_rate(log, as_of, HORIZON_DAYS).resoles.loc[ids].to_numpy()
    oracle = _oracle_days(drawn, known, feet)
    said = forecast(fit, log, as_of, ForecastSettings(horizon_days=HORIZON_DAYS))
    said = said[(said["foot"] == "pair") & (said["point"] == "ball")].set_index("pair_id").loc[ids]
    forecasters = {
        "model": draws,
        "line": line,
        "rate": rate,
        "plug_in": point,
        "plug_in_use": plugged,
        "oracle": oracle,
    }
    cut = np.minimum(draws, HORIZON_DAYS)
    frame = pd.DataFrame(
        {
            "pair_id": ids,
            "wearer_id": panel.wearer_ids[panel.pair_wearer[panel.path_pair[feet.left]]],
            "actual": actual,
            **{n: np.quantile(cut, q, axis=1) for n, q in QUANTILES.items()},
            "oracle_p50": np.median(np.minimum(oracle, HORIZON_DAYS), axis=1),
            "send_by": (said["send_by"] - as_of).dt.days.to_numpy(float),
            **{
                f"crps_{n}": crps_sample(np.minimum(d, HORIZON_DAYS), actual)
                for n, d in forecasters.items()
            },
        }
    )
    return frame.assign(**_groups(drawn, log, frame, due))


def _groups(
    drawn: Simulated, log: WearLog, frame: pd.DataFrame, due: pd.DataFrame
) -> dict[str, np.ndarray]:
    """Which groups, to be judged apart, each pair belongs to."""
    wearer = frame["wearer_id"].to_numpy()
    kind = drawn.hidden_wearers.set_index("wearer_id")["kind"].loc[wearer].to_numpy()
    seen = log.checks["pair_id"].unique()
    soles = log.soles.groupby("pair_id").size()
    past = log.wear_days.merge(log.pairs[["pair_id", "wearer_id"]], on="pair_id")
    period = (drawn.as_of - past["worn_on"]).dt.days // 28
    counts = past[period < 26].groupby(["wearer_id", period[period < 26]]).size()
    spread = counts.groupby("wearer_id").agg(lambda c: c.var() / c.mean() if len(c) > 5 else 0.0)
    spread = spread.reindex(np.unique(wearer)).fillna(0.0)
    irregular = spread.index[spread > spread.quantile(1.0 - IRREGULAR_SHARE)]
    return {
        "new_pair": ~np.isin(frame["pair_id"], seen),
        "gauged": np.isin(kind, ("gauge", "gauge_and_thumb")),
        "thumb_only": kind == "thumb",
        "second_sole": soles.reindex(frame["pair_id"]).fillna(1).to_numpy() > 1,
        "irregular": np.isin(wearer, irregular),
    }


def _oracle_days(drawn: Simulated, known: Conditioned, feet: FootPairs) -> np.ndarray:
    """Days until due for one who knows true rates and true thickness, under the model's use."""
    panel = known.panel
    today = drawn.thickness_on(drawn.as_of)
    today = today[today["point"] == "ball"].set_index(["sole_id", "foot"])["thickness_mm"]
    rates = drawn.rates[drawn.rates["point"] == "ball"].set_index(["sole_id", "foot"])
    rates = rates["rate_mm_per_logged_wear_day"]
    remaining = []
    for path, foot in ((feet.left, "left"), (feet.right, "right")):
        sole = pd.MultiIndex.from_product([panel.sole_ids[panel.path_sole[path]], [foot]])
        left_mm = today.reindex(sole).to_numpy() - panel.limit_mm[path]
        remaining.append(np.maximum(left_mm, 0.0) / rates.reindex(sole).to_numpy())
    first = np.min(remaining, axis=0)
    if np.isnan(first).any():
        raise AssertionError("a sole in use has no true thickness or rate")
    use = normal_points()[8]
    wide = np.repeat(first[:, None], len(use), axis=1)
    return days_until(known.ahead, wide, use, panel.path_pair[feet.left])


def _use_rows(drawn: Simulated, known: Conditioned) -> pd.DataFrame:
    """Wear days to come that would be logged: true days less the share each wearer forgets."""
    panel = known.panel
    worn = drawn.hidden_wear[drawn.hidden_wear["worn_on"] > drawn.as_of]
    people = drawn.hidden_wearers.set_index("wearer_id")
    wearer = panel.wearer_ids[panel.pair_wearer]
    kept = 1.0 - people["forgotten_share"].loc[wearer].to_numpy()
    with_sole = np.zeros(len(panel.pair_ids), bool)
    with_sole[panel.path_pair[panel.current]] = True
    parts = []
    for days in USE_DAYS:
        within = worn[worn["worn_on"] <= drawn.as_of + pd.Timedelta(days=days)]
        count = within["pair_id"].value_counts().reindex(panel.pair_ids).fillna(0).to_numpy(float)
        expected, spread = wear_days_ahead(known.ahead, days)
        draws = expected[:, None] * gamma_factor(spread[:, None], normal_points()[8])
        actual = count * kept
        rows = pd.DataFrame(
            {
                "pair_id": panel.pair_ids,
                "wearer_id": wearer,
                "days": days,
                "expected": expected,
                "actual": actual,
                "crps": crps_sample(draws, actual),
            }
        )
        parts.append(rows[with_sole])
    return pd.concat(parts, ignore_index=True)
