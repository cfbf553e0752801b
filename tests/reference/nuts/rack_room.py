"""Which panel do the sampler and the engine both look at?

Sixty wearers of a simulated world, ball and waist checks only, drawn anew from a seed: the sampler
needs no toe and heel to say how far the engine's approximations carry.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from solespan.forecast.log import WearLog, wear_log
from solespan.synthetic_data import Simulated, world

__all__ = ["HORIZON_DAYS", "RackRoom", "fingerprint", "rack_room"]

SCENARIO, SEED, PAIRS_DRAWN, WEARERS = "score_world", 60, 300, 60
HORIZON_DAYS = 1826


@dataclass(frozen=True)
class RackRoom:
    """The log both look at, its day, and the world behind it."""

    log: WearLog
    as_of: pd.Timestamp
    truth: Simulated


def rack_room() -> RackRoom:
    """Draw the panel: the same on every call."""
    drawn = world(SCENARIO, SEED, n_pairs=PAIRS_DRAWN, horizon_days=HORIZON_DAYS)
    log = wear_log(**drawn.frames)
    chosen = sorted(log.wearers["wearer_id"])[:WEARERS]
    frames = dict(vars(log.of_wearers(chosen)))
    checks = frames["checks"]
    frames["checks"] = checks[checks["point"].isin(("ball", "waist"))].reset_index(drop=True)
    return RackRoom(wear_log(**frames), drawn.as_of, drawn)


def fingerprint(room: RackRoom) -> dict[str, float]:
    """Numbers that change when the panel does."""
    log = room.log
    return {
        "wearers": len(log.wearers),
        "pairs": len(log.pairs),
        "soles": len(log.soles),
        "wear_days": len(log.wear_days),
        "checks": len(log.checks),
        "sum_of_readings_mm": round(float(log.checks["value_mm"].sum()), 3),
        "sum_of_hours": round(float(log.wear_days["hours"].sum()), 2),
    }
