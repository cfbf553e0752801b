"""How far is the engine from the sampled posterior?

`python -m tests.reference.nuts.compare` refits the engine and prints the differences as JSON.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from tests.reference.nuts.engine_answers import EngineAnswers, engine_answers, quantiles
from tests.reference.nuts.rack_room import rack_room

__all__ = ["GAUGED_READINGS", "LEAST_WEAR_DAYS", "Differences", "Sampled", "differences", "sampled"]

HERE = Path(__file__).parent
GAUGED_READINGS = 3
LEAST_WEAR_DAYS = 20.0  # below so many days left a relative difference says nothing


@dataclass(frozen=True)
class Sampled:
    """What was kept of the sampled posterior: `digest` says what is in each."""

    result: dict
    paths: pd.DataFrame
    pairs: pd.DataFrame


@dataclass(frozen=True)
class Differences:
    """Engine against sampler.

    rate_in_sd, rate_sd_ratio, wear_in_sd, wear_sd_ratio : ndarray, shape (paths,)
        Log rate, and log rate times exposure: difference of the means in sampled SDs; engine's SD
        over the sampled one.
    gauged : ndarray of bool, shape (paths,)
        A gauge read the worn ball at least `GAUGED_READINGS` times.
    left : ndarray, shape (pairs, 3)
        Relative difference of the 10, 50 and 90 % quantiles of the wear days of the usual kind
        left, where the
        sampled one is at least `LEAST_WEAR_DAYS`, else NaN.
    gauged_pairs : ndarray of bool, shape (pairs,)
        Both feet are gauged.
    spread_ratio, spread_in_sd : dict
        Engine's spread over the geometric mean of the sampled one; log of that in sampled SDs.
    """

    rate_in_sd: np.ndarray
    rate_sd_ratio: np.ndarray
    wear_in_sd: np.ndarray
    wear_sd_ratio: np.ndarray
    gauged: np.ndarray
    left: np.ndarray
    gauged_pairs: np.ndarray
    spread_ratio: dict[str, float]
    spread_in_sd: dict[str, float]


def sampled() -> Sampled:
    """Read what was committed."""
    return Sampled(
        json.loads((HERE / "result.json").read_text()),
        pd.read_csv(HERE / "paths.csv", index_col=["sole_id", "foot"]),
        pd.read_csv(HERE / "pairs.csv", index_col="pair_id"),
    )


def differences(answers: EngineAnswers, truth: Sampled) -> Differences:
    """Compare the engine's answers to what was sampled."""
    paths = truth.paths.loc[answers.paths.index]
    gauged = (answers.paths["readings"] >= GAUGED_READINGS).to_numpy()
    left = truth.pairs.loc[answers.pair_ids].to_numpy()
    usual = (answers.logged / answers.worn)[:, None]
    off = (
        quantiles(answers.remaining * usual) / np.where(left >= LEAST_WEAR_DAYS, left, np.nan) - 1.0
    )
    noise = answers.fit.noise
    engine = {
        **{n: answers.fit.spread[n] for n in truth.result["log_spreads"]},
        **dict(zip(truth.result["log_gauge_sds"], noise.gauge_sd_mm, strict=True)),
        "process": noise.process_mm,
    }
    moments = {
        k: v
        for part in ("log_spreads", "log_gauge_sds", "log_process")
        for k, v in truth.result[part].items()
    }
    apart = {n: np.log(engine[n]) - moments[n]["mean"] for n in engine}

    def in_sd(name: str) -> np.ndarray:
        gap = answers.paths[name] - paths[name]
        return (gap / paths[f"{name}_sd"]).to_numpy()

    def ratio(name: str) -> np.ndarray:
        return (answers.paths[name] / paths[name]).to_numpy()

    return Differences(
        rate_in_sd=in_sd("log_rate"),
        rate_sd_ratio=ratio("log_rate_sd"),
        wear_in_sd=in_sd("log_wear"),
        wear_sd_ratio=ratio("log_wear_sd"),
        gauged=gauged,
        left=off,
        gauged_pairs=gauged[answers.feet.left] & gauged[answers.feet.right],
        spread_ratio={n: float(np.exp(d)) for n, d in apart.items()},
        spread_in_sd={n: float(d / moments[n]["sd"]) for n, d in apart.items()},
    )


def _sizes(values: np.ndarray, within: float) -> dict[str, float]:
    seen = values[np.isfinite(values)]
    at = {"median": 0.5, "p90": 0.9, "most": 1.0}
    return {
        "count": len(seen),
        **{k: round(float(np.quantile(np.abs(seen), q)), 3) for k, q in at.items()},
        "mean_signed": round(float(seen.mean()), 3),
        f"share_within_{within}": round(float(np.mean(np.abs(seen) <= within)), 3),
    }


def _ratios(values: np.ndarray) -> dict[str, float]:
    at = {"p05": 0.05, "median": 0.5, "p95": 0.95}
    return {k: round(float(np.quantile(values, q)), 3) for k, q in at.items()}


def table(found: Differences) -> dict:
    """Differences as a table of numbers, for what a gauge follows and for the rest."""
    out: dict = {}
    for name, paths, pairs in (
        ("gauged", found.gauged, found.gauged_pairs),
        ("not gauged", ~found.gauged, ~found.gauged_pairs),
    ):
        out[name] = {
            "log_rate_in_sd": _sizes(found.rate_in_sd[paths], 0.1),
            "log_rate_sd_ratio": _ratios(found.rate_sd_ratio[paths]),
            "log_wear_in_sd": _sizes(found.wear_in_sd[paths], 0.1),
            "log_wear_sd_ratio": _ratios(found.wear_sd_ratio[paths]),
            **{
                f"wear_days_left_{quantile}": _sizes(found.left[pairs, i], 0.03)
                for i, quantile in enumerate(("p10", "p50", "p90"))
            },
        }
    out["spread_ratio"] = {k: round(v, 3) for k, v in found.spread_ratio.items()}
    out["spread_in_sd"] = {k: round(v, 2) for k, v in found.spread_in_sd.items()}
    return out


if __name__ == "__main__":
    shown = table(differences(engine_answers(rack_room()), sampled()))
    sys.stdout.write(json.dumps(shown, indent=1) + "\n")
