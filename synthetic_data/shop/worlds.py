"""Register of shops: which shops with silent customers are there, and how does each differ?

The last three have no silent customers. In two of them little is looked at or logged. `small_shop`
is the committed example.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from solespan.synthetic_data.shop.customers import CustomerTruth, varied_customers
from solespan.synthetic_data.shop.draw import ShopWorld, draw_shop_world
from solespan.synthetic_data.shop.loggers import alone, late_logs, one_look, together
from solespan.synthetic_data.shop.stated import with_stated_paces
from solespan.synthetic_data.simulate import simulate
from solespan.synthetic_data.truth import Truth, varied

__all__ = ["SHOP_WORLDS", "ShopScenario", "shop_world"]


@dataclass(frozen=True)
class ShopScenario:
    """A shop's meaning, how many pairs of silent and of logging customers, and what differs.

    `rack` bounds the pairs of the only owner, instead of both numbers. `cut_shift_mm` is how far
    the thumb's cut points may lie from those of common practice. `one_look` leaves one check a
    pair. `stated` are the shares of silent owners who state the pace of a pair, and of their whole
    rack. `late_logs` leaves what owners wrote after some day of the last years.
    """

    meaning: str
    silent_pairs: int = 275
    logging_pairs: int = 0
    years: tuple[float, float] = (8.0, 12.0)
    habits: Mapping[str, Any] = field(default_factory=dict)
    differs: Mapping[str, Any] = field(default_factory=dict)
    rack: tuple[int, int] | None = None
    cut_shift_mm: float = 0.0
    one_look: bool = False
    late_logs: bool = False
    logged_days: int = 1096
    stated: tuple[float, float] = (0.0, 0.0)


USUAL_CUTS_MM = (3.25, 2.5)  # where firm and give end: common practice, no source
_NO_READINGS = {"counter_reading_share": 0.0, "midlife_reading_share": 0.0}
_HALF_READINGS = {"counter_reading_share": 0.10, "midlife_reading_share": 0.05}
_LOGS_LITTLE = {
    "forgotten_mean": 0.3,
    "forgotten_strength": 4.0,
    "silences_per_year": 0.5,
    "checker_shares": (0.45, 0.15, 0.40, 0.0),
    "check_days": (60.0, 60.0, 60.0, 60.0),
}
_COLLECTOR = {
    "checker_shares": (0.0, 0.0, 1.0, 0.0),
    "newcomer_share": 0.0,
    "wear_days_per_week": 2.2,
    "rate_mm": 0.030,
    "forgotten_mean": 0.2,
}

SHOP_WORLDS: Mapping[str, ShopScenario] = MappingProxyType(
    {
        "silent_shop": ShopScenario("nobody logs; the shop reads some soles"),
        "silent_shop_no_readings": ShopScenario(
            "nobody logs and the shop reads nothing", habits=_NO_READINGS
        ),
        "silent_shop_half_readings": ShopScenario(
            "nobody logs; the shop reads half as many soles", habits=_HALF_READINGS
        ),
        "silent_shop_young": ShopScenario(
            "nobody logs, and the shop opened three years ago", years=(3.0, 3.0)
        ),
        "mixed_shop_10": ShopScenario("a tenth of the customers log", 250, 58),
        "mixed_shop_30": ShopScenario("a third of the customers log", 200, 190),
        "mixed_shop_50": ShopScenario("half of the customers log", 140, 285),
        "mixed_shop_late": ShopScenario(
            "a third of the customers log, and began to some time ago",
            200,
            190,
            logged_days=2192,
            late_logs=True,
        ),
        "growing_shop": ShopScenario(
            "a third of the customers log, and ever more customers come",
            200,
            190,
            habits={"join_power": 0.8},
        ),
        "shrinking_shop": ShopScenario(
            "a third of the customers log; the others came long ago, and many leave",
            200,
            190,
            habits={"join_power": 5.0, "move_per_year": 0.08, "leave_per_visit": 0.10},
        ),
        "small_shop": ShopScenario(
            "a small shop: few customers log, some state how often they wear a pair",
            72, 8, years=(8.0, 8.0), stated=(0.15, 0.1),
        ),
        "logging_shop": ShopScenario("everybody logs", 0, 275),
        "one_check_shop": ShopScenario(
            "everybody logs part of the wear, and every pair was looked at once",
            0, 275, differs=_LOGS_LITTLE, one_look=True,
        ),
        "solo_thumb": ShopScenario(
            "one collector alone who has only a thumb",
            0, 14, differs=_COLLECTOR, rack=(12, 16), cut_shift_mm=0.35, logged_days=2192,
        ),
    }
)  # fmt: skip


def shop_world(
    name: str, seed: int, *, as_of: str | pd.Timestamp = "2026-11-23", n_pairs: int | None = None
) -> ShopWorld:
    """Draw a named shop; `n_pairs` overrides its size, with the same share of loggers.

    Identifiers of customers who log, of their pairs and soles begin with `L`.
    Raises `KeyError` naming the known shops for an unknown name.
    """
    if name not in SHOP_WORLDS:
        raise KeyError(f"{name!r} is not a shop's world; known are {', '.join(SHOP_WORLDS)}")
    scenario = SHOP_WORLDS[name]
    rng = np.random.default_rng(seed)
    truth = varied(replace(Truth(), **scenario.differs), rng)
    habits = varied_customers(replace(CustomerTruth(), **scenario.habits), rng)
    years = float(rng.uniform(*scenario.years))
    silent_rng, logging_rng, own_rng, stating_rng = rng.spawn(4)
    silent_pairs, logging_pairs = scenario.silent_pairs, scenario.logging_pairs
    if scenario.rack:
        logging_pairs = n_pairs or int(own_rng.integers(scenario.rack[0], scenario.rack[1] + 1))
        cuts = np.array(USUAL_CUTS_MM) + own_rng.uniform(-1.0, 1.0) * scenario.cut_shift_mm
        counts = (0.0,) * (logging_pairs - 1) + (1.0,)
        truth = replace(truth, pair_counts=counts, grade_cuts_mm=(float(cuts[0]), float(cuts[1])))
    elif n_pairs:
        share = n_pairs / (silent_pairs + logging_pairs)
        silent_pairs, logging_pairs = round(silent_pairs * share), round(logging_pairs * share)
    silent = None
    if silent_pairs:
        silent = draw_shop_world(
            truth, habits, silent_rng, n_pairs=silent_pairs, years=years, as_of=as_of
        )
        if any(scenario.stated):
            silent = with_stated_paces(silent, *scenario.stated, stating_rng)
    if not logging_pairs and silent:
        return silent
    loggers = simulate(
        truth, logging_rng, n_pairs=logging_pairs, as_of=as_of, history_days=scenario.logged_days
    )
    if scenario.one_look:
        loggers = replace(loggers, frames=one_look(loggers, own_rng))
    if scenario.late_logs:
        loggers = replace(loggers, frames=late_logs(loggers, own_rng))
    return together(silent, loggers) if silent else alone(loggers, habits)
