"""Which logs does a test of the model start from? Small racks whose wear is known exactly."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from solespan.forecast.log import WearLog, wear_log

TODAY = pd.Timestamp("2026-06-30")
FITTED = pd.Timestamp("2025-06-30")
RATE_MM = 0.02


def day(offset: int, start: pd.Timestamp = FITTED) -> pd.Timestamp:
    """So many days after the sole was fitted."""
    return start + pd.Timedelta(days=int(offset))


def pair_row(pair_id: str, wearer_id: str = "ada", **more: object) -> dict[str, object]:
    return {
        "pair_id": pair_id,
        "wearer_id": wearer_id,
        "construction": "goodyear_welted",
        "dress_code": "business",
    } | more


def sole_row(pair_id: str, *, number: int = 1, **more: object) -> dict[str, object]:
    return {
        "sole_id": f"{pair_id}-S{number}",
        "pair_id": pair_id,
        "fitted_on": FITTED,
        "material": "veg_tan_leather",
        "nominal_thickness_mm": 5.0,
        "limit_mm": 2.0,
    } | more


def wear_rows(pair_id: str, offsets: Iterable[int], **more: object) -> list[dict[str, object]]:
    """One standard wear day on each day after fitting."""
    return [
        {"pair_id": pair_id, "worn_on": day(k), "hours": 8.0, "surface": "pavement"} | more
        for k in offsets
    ]


def reading(
    pair_id: str, offset: int, foot: str, value_mm: float, method: str = "caliper"
) -> dict[str, object]:
    return {
        "pair_id": pair_id,
        "checked_on": day(offset),
        "foot": foot,
        "point": "ball",
        "method": method,
        "value_mm": value_mm,
    }


def grade(pair_id: str, offset: int, foot: str, word: str) -> dict[str, object]:
    return {
        "pair_id": pair_id,
        "checked_on": day(offset),
        "foot": foot,
        "point": "ball",
        "method": "thumb",
        "grade": word,
    }


def straight_checks(
    pair_id: str,
    worn: Sequence[int],
    check_days: Iterable[int],
    *,
    rate_mm: float = RATE_MM,
    left_faster: float = 1.0,
    noise_mm: float = 0.0,
    method: str = "caliper",
    rng: np.random.Generator | None = None,
) -> list[dict[str, object]]:
    """Read both balls on a straight line of wear, packing 0.2 mm over the first six days."""
    rows = []
    worn_on = np.asarray(sorted(worn))
    for k in check_days:
        x = float(np.searchsorted(worn_on, k, side="right"))
        for foot, factor in (("left", left_faster), ("right", 1.0)):
            thickness = 5.0 - 0.2 * min(x / 6.0, 1.0) - rate_mm * factor * x
            error = 0.0 if rng is None else noise_mm * float(rng.standard_normal())
            rows.append(reading(pair_id, k, foot, max(round(thickness + error, 3), 0.0), method))
    return rows


def rack(
    pairs: int = 3,
    *,
    wearer_id: str = "ada",
    driving_foot: str | None = None,
    every: int = 4,
    check_days: Sequence[int] = (0, 60, 120, 180, 240, 300, 350),
    left_faster: float = 1.0,
    seed: int = 5,
    noise_mm: float = 0.1,
) -> dict[str, pd.DataFrame]:
    """Frames of one wearer's rack: each pair worn every few days for a year and read by caliper."""
    rng = np.random.default_rng(seed)
    ids = [f"{wearer_id}-{i}" for i in range(pairs)]
    wear, checks = [], []
    for i, pair_id in enumerate(ids):
        worn = list(range(1 + i, 365, every))
        wear += wear_rows(pair_id, worn)
        checks += straight_checks(
            pair_id,
            worn,
            check_days,
            rate_mm=RATE_MM * (1.0 + 0.1 * (i - 1)),
            left_faster=left_faster,
            noise_mm=noise_mm,
            rng=rng,
        )
    return {
        "wearers": pd.DataFrame([{"wearer_id": wearer_id, "driving_foot": driving_foot}]),
        "pairs": pd.DataFrame([pair_row(p, wearer_id) for p in ids]),
        "soles": pd.DataFrame([sole_row(p) for p in ids]),
        "wear_days": pd.DataFrame(wear),
        "checks": pd.DataFrame(checks),
    }


def together(*racks: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Frames of several wearers in one log."""
    names = {name for frames in racks for name in frames}
    return {
        name: pd.concat([f[name] for f in racks if name in f], ignore_index=True) for name in names
    }


def log_of(frames: dict[str, pd.DataFrame]) -> WearLog:
    """Check some frames into a log."""
    return wear_log(**frames)
