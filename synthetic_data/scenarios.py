"""Register of scenarios.

Which named worlds are there, and in what does each differ from the usual one?

The last ten are worlds in which a usual model is wrong. Levels and SDs move a little with the
seed in all of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from solespan.synthetic_data.simulate import Simulated, simulate
from solespan.synthetic_data.truth import Truth, varied

__all__ = ["SCENARIOS", "Scenario", "world"]


@dataclass(frozen=True)
class Scenario:
    """A world's meaning, size, and the parameters that differ from `Truth()`."""

    meaning: str
    n_pairs: int
    differs: Mapping[str, Any] = field(default_factory=dict)
    history_days: int = 1096


_TELLS_ALL = {
    "forgotten_mean": 0.0,
    "silences_per_year": 0.0,
    "notes_ground_share": 1.0,
    "hours_style_shares": (0.0, 1.0, 0.0),
}

SCENARIOS: Mapping[str, Scenario] = MappingProxyType(
    {
        "one_collector": Scenario(
            "one driver with 14 pairs who measures and presses",
            14,
            {
                "pair_counts": (0.0,) * 13 + (1.0,),
                "checker_shares": (0.0, 1.0, 0.0, 0.0),
                "newcomer_share": 0.0,
                "wear_days_per_week": 6.0,
                "rate_mm": 0.030,
                "driver_share": 1.0,
            },
            2192,
        ),
        "every_habit": Scenario(
            "a shop's customers with about 80 pairs of every habit",
            80,
            {"pair_counts": (10, 12, 14, 12, 8, 4, 2, 1)},
        ),
        "score_world": Scenario("mixed owners, for scoring forecasts", 640),
        "plain_logging": Scenario(
            "owners who write down every wear day, its hours and its ground", 640, _TELLS_ALL
        ),
        "thumb_only": Scenario(
            "nobody has a gauge", 640, {"checker_shares": (0.0, 0.0, 0.85, 0.15)}
        ),
        "second_soles": Scenario(
            "most pairs are on a later sole",
            640,
            {"rate_mm": 0.034, "newcomer_share": 0.0, "late_share": 0.15},
            1826,
        ),
        "no_driver": Scenario("nobody drives", 640, {"driver_share": 0.0}),
        "sparse_checks": Scenario(
            "checks once or twice a year",
            640,
            {"check_days": (300.0, 300.0, 240.0, 700.0), "fitting_check_share": 0.15},
        ),
        "gamma_rates": Scenario(
            "wearers' rates are gamma, not lognormal",
            640,
            {"rate_family": "gamma", "sd_wearer": 0.5},
        ),
        "unequal_forgetting": Scenario(
            "some owners log all, some log little, and many fall silent",
            640,
            {"forgotten_mean": 0.3, "forgotten_strength": 2.0, "silences_per_year": 0.5},
        ),
        "drifting_use": Scenario("habits wander fast", 640, {"sd_drift_week": 0.09, "season": 1.0}),
        "own_seasons": Scenario("pairs with their own season", 640, {"sd_own_season": 0.9}),
        "season_racks": Scenario(
            "steady collectors who measure, and whose pairs have a strong season",
            640,
            {
                **_TELLS_ALL,
                "pair_counts": (0, 0, 0, 1, 1, 1, 1, 1),
                "sd_own_season": 1.3,
                "sd_drift_week": 0.01,
                "checker_shares": (0.6, 0.4, 0.0, 0.0),
                "check_days": (60.0, 60.0, 60.0, 60.0),
                "rate_mm": 0.035,
                "newcomer_share": 0.0,
            },
        ),
        "long_trips": Scenario(
            "owners who are away for weeks, most at the same time each year",
            640,
            {"trips_per_year": 2.0, "silences_per_year": 0.0},
        ),
        "changed_habits": Scenario(
            "habits that change from one day to the next",
            640,
            {"habit_changes_per_year": 0.8, "sd_drift_week": 0.06},
        ),
        "irregular_wearers": Scenario(
            "streaks, quiet weeks and long holidays",
            640,
            {"sd_streak": 1.3, "sd_week": 0.7, "holidays_per_year": 7.0},
        ),
        "wandering_rates": Scenario(
            "wearers' rates wander: log SD 0.4 after a year", 640, {"sd_rate_week": 0.055}
        ),
        "risen_rates": Scenario(
            "half of the wearers wear 2.5 times as fast since 150 days",
            640,
            {"rate_jump_share": 0.5},
        ),
    }
)


def world(
    name: str,
    seed: int,
    *,
    as_of: str | pd.Timestamp = "2026-11-23",
    n_pairs: int | None = None,
    horizon_days: int = 1826,
) -> Simulated:
    """Draw a named world; `n_pairs` overrides its size.

    Raises `KeyError` naming the known worlds for an unknown name.
    """
    if name not in SCENARIOS:
        raise KeyError(f"{name!r} is not a scenario; known are {', '.join(SCENARIOS)}")
    scenario = SCENARIOS[name]
    rng = np.random.default_rng(seed)
    truth = varied(replace(Truth(), **scenario.differs), rng)
    return simulate(
        truth,
        rng,
        n_pairs=scenario.n_pairs if n_pairs is None else n_pairs,
        as_of=as_of,
        history_days=scenario.history_days,
        horizon_days=horizon_days,
    )
