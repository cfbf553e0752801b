"""Simulated resoles.

When does a pair go to the bench, what is done, and which sole does it come back with?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.frames import MATERIALS
from solespan.synthetic_data.pairs import Floats, Ints, Pairs, Wearers
from solespan.synthetic_data.truth import Truth
from solespan.synthetic_data.wear_process import is_leather, new_sole

__all__ = ["BENCH_MINUTES", "Job", "Sole", "fit_sole", "needs_bench", "send"]

NOTICED_CHANCE = 0.2  # a wear day on which an owner looks at a sole past its threshold
# hands-on minutes per pair, common practice, no source
BENCH_MINUTES = {"full_sole": 130.0, "half_sole": 70.0, "top_piece": 20.0}
PRICES_MINOR = {"full_sole": 14000, "half_sole": 9000, "top_piece": 3000}


@dataclass
class Sole:
    """One sole; `removed_day` is None while it is on, `start_mm` is (2 feet, 3 points)."""

    pair: int
    number: int
    fitted_day: int
    material: int
    nominal_mm: float
    limit_mm: float
    cover: str
    start_mm: Floats
    packing_mm: Floats
    removed_day: int | None = None


@dataclass(frozen=True)
class Job:
    """One bench job; days count from the first day of the world."""

    pair: int
    work: str
    received_day: int
    promised_day: int
    finished_day: int
    returned_day: int
    bench_minutes: float
    price_minor: int


def fit_sole(
    truth: Truth, pairs: Pairs, pair: int, day: int, number: int, rng: np.random.Generator
) -> Sole:
    """A new sole: mostly like the first, sometimes half, sometimes rubber in place of leather."""
    material, nominal = int(pairs.material[pair]), float(pairs.nominal_mm[pair])
    cover = "full"
    if number > 1:
        if rng.random() < 0.15:
            material = MATERIALS.index(str(rng.choice(["rubber", "veg_tan_leather"])))
        if rng.random() < 0.2:
            cover = "half"
    leather = bool(is_leather(np.array([material]))[0])
    start, packing = new_sole(truth, nominal, leather, rng)
    limit = float(pairs.limit_mm[pair])
    return Sole(pair, number, day, material, nominal, limit, cover, start, packing)


def needs_bench(
    wearers: Wearers,
    pairs: Pairs,
    worn: Ints,
    thickness: Floats,
    limits: Floats,
    rng: np.random.Generator,
) -> tuple[Ints, Ints]:
    """Positions in `worn` of pairs sent for a sole, and of pairs sent for top pieces.

    A hole is always sent; past the owner's threshold the owner notices with a fifth of a chance
    a wear day. `thickness` (n, 2, 3) and `limits` (n, 3) are those of the pairs worn.
    """
    offset = wearers.send_offset_mm[pairs.wearer[worn]]
    thinnest = thickness.min(axis=1)
    notices = rng.random((2, len(worn))) < NOTICED_CHANCE
    hole = (thinnest[:, :2] <= 0.0).any(axis=1)
    sole = hole | (notices[0] & (thinnest[:, 0] <= limits[:, 0] + offset))
    heel = (thinnest[:, 2] <= 0.3) | (notices[1] & (thinnest[:, 2] <= limits[:, 2] + offset))
    return np.flatnonzero(sole), np.flatnonzero(heel & ~sole)


def send(truth: Truth, pair: int, work: str, day: int, rng: np.random.Generator) -> Job:
    """A job received on `day` and back after a lead time of three days or more."""
    median = truth.top_piece_days if work == "top_piece" else truth.lead_days
    lead = int(np.clip(round(median * rng.lognormal(0.0, 0.5)), 3, 100))
    minutes = round(BENCH_MINUTES[work] * rng.lognormal(0.0, 0.2))
    price = int(PRICES_MINOR[work] * rng.uniform(0.8, 1.3) // 100 * 100)
    finished = day + lead - int(rng.integers(1, 3))
    return Job(pair, work, day, day + round(median), finished, day + lead, minutes, price)
