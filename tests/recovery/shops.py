"""How do forecasts of shops whose customers log little score, against lives alone and lines?

`score_shop` fits one shop and returns a row a pair with a sole on; `score_shops` does so for many.
Only the public face of `forecast` is asked, so that any engine is judged alike.
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
from solespan.forecast.dates.due import due_sample
from solespan.forecast.dates.models.baselines import population_rate, straight_line
from solespan.forecast.dates.models.renewal import Renewal, renewal
from solespan.forecast.workload import (
    WorkloadSettings,
    due_table,
    fit_habits,
    fit_mix,
    fit_newcomers,
    simulate_years,
)
from solespan.synthetic_data import ShopWorld, shop_world

HORIZON_DAYS = 1826
QUANTILES = {"p05": 0.05, "p10": 0.10, "p25": 0.25, "p50": 0.50, "p75": 0.75, "p90": 0.90,
             "p95": 0.95}  # fmt: skip
WITHIN_DAYS = (90, 365)
YEARS = 400  # simulated, of the workload

SILENT: tuple[tuple[str, int], ...] = (
    *(("silent_shop", seed) for seed in (*range(501, 507), *range(601, 607))),
)
VARIED: tuple[tuple[str, int], ...] = (
    *(("silent_shop_no_readings", seed) for seed in range(511, 513)),
    *(("silent_shop_half_readings", seed) for seed in range(521, 523)),
    *(("silent_shop_young", seed) for seed in range(531, 533)),
)
MIXED: tuple[tuple[str, int], ...] = (
    *(("mixed_shop_10", seed) for seed in range(541, 544)),
    *(("mixed_shop_50", seed) for seed in range(551, 554)),
    *(("mixed_shop_late", seed) for seed in range(556, 559)),
)
SPARSE: tuple[tuple[str, int], ...] = (
    *(("one_check_shop", seed) for seed in range(561, 564)),
    *(("solo_thumb", seed) for seed in range(571, 611)),
)


@dataclass(frozen=True)
class ShopScored:
    """One shop: rows of pairs, the year's hand-overs said and true, and what the fit was like."""

    pairs: pd.DataFrame
    workload: dict[str, float]
    fit_s: float
    converged: bool


def score_shop(name: str, seed: int, n_pairs: int | None = None) -> ShopScored:
    """Draw a shop, fit it, and set what happens beside what is said of every pair with a sole on.

    `pairs`: world, seed, cluster, pair_id, wearer_id, gone, logs, firm_mm (from where the thumb
    says so), actual (days until due, cut at the horizon), band, send_by (days), still (chance of
    being a customer, by lives); of `model` and `renewal` the quantiles (`model_p10`), `..._inside`
    (chance of being due within the horizon) and `..._within_90`; the CRPS in days of each
    forecaster, of `alone` where some log and some not.
    """
    drawn = shop_world(name, seed, n_pairs=n_pairs)
    log, as_of = wear_log(**drawn.frames), drawn.as_of
    begun = time.perf_counter()
    fit = WearModel(log, as_of).fit()
    fit_s = time.perf_counter() - begun
    said = forecast(fit, log, as_of, ForecastSettings(horizon_days=HORIZON_DAYS))
    model = due_sample(fit, log, as_of, HORIZON_DAYS)
    lives = renewal(log, as_of, HORIZON_DAYS)
    pairs = _truth(drawn)
    ids = [p for p in pairs.index if p in model.index and p in lives.days.index]
    pairs = pairs.loc[ids]
    mine = said[(said["foot"] == "pair") & (said["point"] == "ball")].set_index("pair_id").loc[ids]
    pairs["firm_mm"] = drawn.truth.grade_cuts_mm[0]
    pairs["band"] = mine["band"]
    pairs["send_by"] = (mine["send_by"] - as_of).dt.days.to_numpy(float)
    pairs["still"] = lives.still_customer.loc[ids]
    plain = renewal(log, as_of, HORIZON_DAYS, plain=True)
    samples = {"model": model, "renewal": lives.days, "plain": plain.days}
    for forecaster, sample in samples.items():
        days = np.minimum(sample.loc[ids].to_numpy(), HORIZON_DAYS)
        pairs = pairs.assign(**_said(forecaster, days, pairs["actual"].to_numpy()))
    for forecaster, single in (("line", straight_line), ("rate", population_rate)):
        days = single(log, as_of, HORIZON_DAYS).resoles.loc[ids, 0]
        pairs[f"crps_{forecaster}"] = np.abs(days - pairs["actual"])
    pairs["crps_alone"] = _alone(log, as_of, pairs)
    pairs = pairs.reset_index(names="pair_id")
    pairs.insert(0, "world", name)
    pairs.insert(1, "seed", seed)
    pairs["cluster"] = name + "-" + str(seed) + "-" + pairs["wearer_id"]
    return ShopScored(pairs, _workload(drawn, log, said, lives), fit_s, fit.converged)


def _of_three(arguments: tuple[str, int, int | None]) -> ShopScored:
    return score_shop(*arguments)


def score_shops(
    worlds: Iterable[tuple[str, int]], n_pairs: int | None = None, processes: int = 2
) -> list[ShopScored]:
    """Score many shops, some at a time, each process on one core."""
    jobs = [(name, seed, n_pairs) for name, seed in worlds]
    for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(variable, "1")  # read by the new processes when they start
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=fresh) as pool:
        return list(pool.map(_of_three, jobs))


def _truth(drawn: ShopWorld) -> pd.DataFrame:
    """By pair_id, of pairs with a sole on: wearer_id, gone, logs, actual."""
    due = drawn.hidden_due
    due = due[(due["foot"] == "pair") & (due["point"] == "ball")].set_index("pair_id")["due_on"]
    pairs = drawn.hidden_pairs.set_index("pair_id").loc[due.index]
    actual = (due - drawn.as_of).dt.days.fillna(HORIZON_DAYS).clip(upper=HORIZON_DAYS)
    return pairs[["wearer_id", "gone", "logs"]].assign(actual=actual.astype(float))


def _said(forecaster: str, days: np.ndarray, actual: np.ndarray) -> dict[str, np.ndarray]:
    quantiles = np.quantile(days, list(QUANTILES.values()), axis=1)
    return {
        f"crps_{forecaster}": crps_sample(days, actual),
        **{f"{forecaster}_{n}": q for n, q in zip(QUANTILES, quantiles, strict=True)},
        f"{forecaster}_inside": (days < HORIZON_DAYS).mean(axis=1),
        **{f"{forecaster}_within_{d}": (days <= d).mean(axis=1) for d in WITHIN_DAYS},
    }


def _alone(log: WearLog, as_of: pd.Timestamp, pairs: pd.DataFrame) -> np.ndarray:
    """CRPS of those who log when nobody else is in the database; NaN for all others."""
    out = np.full(len(pairs), np.nan)
    logs = pairs["logs"].to_numpy(bool)
    if logs.all() or not logs.any():
        return out
    own = log.of_wearers(pairs.loc[logs, "wearer_id"])
    sample = due_sample(WearModel(own, as_of).fit(), own, as_of, HORIZON_DAYS)
    days = np.minimum(sample.loc[pairs.index[logs]].to_numpy(), HORIZON_DAYS)
    out[logs] = crps_sample(days, pairs.loc[logs, "actual"].to_numpy())
    return out


def _workload(
    drawn: ShopWorld, log: WearLog, said: pd.DataFrame, lives: Renewal
) -> dict[str, float]:
    """Hand-overs for a new sole within 365 days, of pairs of silent customers."""
    silent = drawn.hidden_pairs[~drawn.hidden_pairs["logs"].astype(bool)]
    if silent.empty:
        return {}
    ball = said[(said["point"] == "ball") & said["pair_id"].isin(silent["pair_id"])]
    day = drawn.as_of
    none = pd.DataFrame({"due_on": pd.Series([], dtype="datetime64[s]"), "outcome": [],
                         "came_on": pd.Series([], dtype="datetime64[s]")})  # fmt: skip
    jobs, new = log.bench_jobs, np.zeros(len(log.bench_jobs), bool)
    simulated = simulate_years(
        due_table(ball, log.soles, log.pairs),
        fit_habits(none, day),
        fit_newcomers(jobs, new, jobs["received_on"].min(), day),
        fit_mix(jobs, new),
        day,
        WorkloadSettings(years=YEARS, listed_years=YEARS),
    )
    of_known = simulated.jobs.year[simulated.jobs.row >= 0]
    count = np.bincount(of_known, minlength=YEARS)
    within = (lives.days <= 365).mean(axis=1) * lives.still_customer
    return {
        "true": float(silent["hand_overs_365d"].sum()),
        "model": float(np.median(count)),
        "model_p10": float(np.quantile(count, 0.1)),
        "model_p90": float(np.quantile(count, 0.9)),
        "renewal": float(within[within.index.isin(silent["pair_id"])].sum()),
    }
