"""Large simulated panel: how is a very large, simple log made fast, to time a fit on?

Each pair has one sole, and every wear day is logged and standard but for wet days. Readings are at
the ball by one depth gauge, without bias and misreadings. Wear in gamma steps. No resole, no
future.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.frames import TABLES
from solespan.synthetic_data.truth import Truth

__all__ = ["panel"]

PAIRS_PER_WEARER = 3


def panel(
    n_wearers: int,
    rng: np.random.Generator,
    *,
    truth: Truth | None = None,
    n_checks: int = 6,
    wear_days_per_check: int = 12,
    as_of: str | pd.Timestamp = "2026-11-23",
) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """Three pairs (six shoes) per wearer, each checked `n_checks` times, the first when new.

    Returns the tables of `forecast.frames.TABLES`, and the true rate (mm per standard wear day)
    by pair and foot.

    Raises `ValueError` when `n_wearers`, `n_checks` or `wear_days_per_check` is below 1.
    """
    if min(n_wearers, n_checks, wear_days_per_check) < 1:
        raise ValueError(
            f"n_wearers {n_wearers}, n_checks {n_checks}, wear_days_per_check "
            f"{wear_days_per_check}: each must be at least 1"
        )
    truth = truth or Truth()
    n = n_wearers * PAIRS_PER_WEARER
    wearer = np.repeat(np.arange(n_wearers), PAIRS_PER_WEARER)
    n_wears = (n_checks - 1) * wear_days_per_check
    end = np.datetime64(pd.Timestamp(as_of).date(), "D")
    back = np.cumsum(rng.integers(2, 8, (n, n_wears + 1)), axis=1)[:, ::-1]
    worn_on = (end - back).astype("datetime64[s]")
    wet = rng.random((n, n_wears)) < 0.2
    log_rate = (
        np.log(truth.rate_mm)
        + (rng.normal(0, truth.sd_wearer, n_wearers)[wearer] + rng.normal(0, truth.sd_pair, n))[
            :, None
        ]
        + rng.normal(0, truth.sd_asymmetry, n_wearers)[wearer][:, None] * np.array([-0.5, 0.5])
        + rng.normal(0, truth.sd_foot_of_pair, (n, 2))
    )
    exposure = np.where(wet, truth.wet_factor, 1.0).reshape(n, n_checks - 1, -1).sum(axis=2)
    steps = np.exp(log_rate)[..., None] * exposure[:, None, :]
    wear = rng.gamma(steps / truth.step_mm, truth.step_mm).cumsum(axis=2)
    x = exposure.cumsum(axis=1)[:, None, :]
    packing = rng.uniform(truth.packing_low_mm, truth.packing_high_mm, (n, 2, 1))
    lost = wear + packing * np.minimum(x / truth.packing_wear_days, 1.0)
    start = 5.0 + rng.normal(0, truth.sd_start_sole_mm, (n, 1))
    start = start + rng.normal(0, truth.sd_start_foot_mm, (n, 2))
    true_mm = np.concatenate([start[..., None], start[..., None] - lost], axis=2)
    read = true_mm + rng.normal(0, truth.sd_gauge_mm, true_mm.shape)
    checked = np.concatenate(
        [worn_on[:, :1], worn_on[:, wear_days_per_check::wear_days_per_check]], 1
    )
    frames = _frames(wearer, worn_on, wet, checked, np.maximum(np.round(read, 2), 0.0))
    rates = pd.DataFrame(
        {
            "pair_id": np.repeat(_wide("P", n), 2),
            "foot": np.tile(np.array(["left", "right"], dtype=object), n),
            "rate_mm_per_wear_day": np.exp(log_rate).ravel(),
        }
    )
    return frames, rates


def _wide(letter: str, n: int) -> np.ndarray:
    """Identifiers that sort like their numbers up to a million."""
    return np.array([f"{letter}{i + 1:07d}" for i in range(n)], dtype=object)


def _frames(
    wearer: np.ndarray, worn_on: np.ndarray, wet: np.ndarray, checked: np.ndarray, read: np.ndarray
) -> dict[str, pd.DataFrame]:
    n, n_wears = wet.shape
    pair_id = _wide("P", n)
    fitted = worn_on[:, 0]
    per_shoe = checked.shape[1]
    given = {
        "wearers": {"wearer_id": _wide("W", int(wearer.max()) + 1)},
        "pairs": {
            "pair_id": pair_id,
            "wearer_id": _wide("W", int(wearer.max()) + 1)[wearer],
            "construction": "goodyear_welted",
            "dress_code": "business",
        },
        "soles": {
            "sole_id": _wide("S", n),
            "pair_id": pair_id,
            "fitted_on": fitted,
            "material": "veg_tan_leather",
            "nominal_thickness_mm": 5.0,
            "limit_mm": 2.0,
        },
        "wear_days": {
            "pair_id": np.repeat(pair_id, n_wears),
            "worn_on": worn_on[:, 1:].ravel(),
            "surface": "pavement",
            "wet": wet.ravel(),
        },
        "checks": {
            "pair_id": np.repeat(pair_id, 2 * per_shoe),
            "checked_on": np.repeat(checked, 2, axis=0).ravel(),
            "foot": np.tile(np.repeat(np.array(["left", "right"], dtype=object), per_shoe), n),
            "point": "ball",
            "method": "depth_gauge",
            "value_mm": read.ravel(),
        },
        "bench_jobs": {},
        "layers": {},
    }
    return {name: _whole(name, columns) for name, columns in given.items()}


def _whole(name: str, columns: dict[str, object]) -> pd.DataFrame:
    """A frame with every stored column; those not given are empty."""
    frame = pd.DataFrame(columns)
    empty = {"number": np.nan, "integer": np.nan, "date": np.datetime64("NaT", "s")}
    return pd.DataFrame(
        {
            c.name: frame[c.name] if c.name in frame else pd.Series(empty.get(c.kind), frame.index)
            for c in TABLES[name].stored
        }
    )
