"""Wear process (gamma): how thick is each point of each shoe after a day's wear?

Thickness falls by packing over the first days of a leather sole, and by wear in random steps that
never heal. The steps are gamma increments with mean rate times exposure and variance proportional
to the mean. Points stand in the order ball, toe, heel. The heel is the top piece, a rubber part of
its own.
"""

from __future__ import annotations

import numpy as np

from solespan.forecast.frames import MATERIALS
from solespan.synthetic_data.pairs import Bools, Floats, Ints, Pairs, Wearers
from solespan.synthetic_data.truth import Truth

__all__ = [
    "driving_mask",
    "is_leather",
    "log_rates",
    "new_sole",
    "new_top_piece",
    "packed_mm",
    "worn_mm",
]


def driving_mask(wearers: Wearers, pairs: Pairs) -> Floats:
    """1 for the shoe on the driving foot, else 0; shape (pairs, 2), left then right."""
    mask: Floats = (wearers.driving_foot[pairs.wearer][:, None] == np.array([1, 2])).astype(float)
    return mask


def log_rates(truth: Truth, wearers: Wearers, pairs: Pairs, material: Ints) -> Floats:
    """Log mm per standard wear day, without driving minutes; shape (pairs, 2 feet, 3 points).

    `material` is the present one of each pair; it does not touch the heel.
    """
    factors = np.zeros(len(MATERIALS))
    for name, factor in truth.material_factors:
        factors[MATERIALS.index(name)] = np.log(factor)
    ball = np.log(truth.rate_mm) + factors[material]
    base = np.stack(
        [ball, ball + np.log(truth.toe_factor), np.full(len(ball), np.log(truth.heel_rate_mm))],
        axis=-1,
    )
    of = pairs.wearer
    sides = np.array([-0.5, 0.5]) * wearers.asymmetry[of][:, None] + pairs.foot_effect
    person = (wearers.effect[of] + pairs.effect)[:, None] + wearers.point_effect[of]
    driving = np.array([truth.driving_ball, truth.driving_toe, truth.driving_heel])
    turning = driving_mask(wearers, pairs)[..., None] * driving
    rates: Floats = (base + person)[:, None, :] + sides[..., None] + turning
    return rates


def new_sole(
    truth: Truth, nominal_mm: float, leather: bool, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Draw start thickness (2 feet, 3 points) and packing (2 feet) of a sole with top pieces."""
    shared = nominal_mm + rng.normal(0.0, truth.sd_start_sole_mm)
    outsole = shared + rng.normal(0.0, truth.sd_start_foot_mm, 2)
    start = np.stack([outsole, outsole, np.zeros(2)], axis=-1)
    start[:, 2] = new_top_piece(truth, rng)
    packing = rng.uniform(truth.packing_low_mm, truth.packing_high_mm, 2)
    return start, packing * float(leather)


def new_top_piece(truth: Truth, rng: np.random.Generator) -> Floats:
    """Thickness of a new top piece on each foot."""
    shared = truth.top_piece_mm + rng.normal(0.0, truth.sd_start_sole_mm)
    return shared + rng.normal(0.0, truth.sd_start_foot_mm, 2)


def packed_mm(truth: Truth, packing: Floats, before: Floats, after: Floats) -> Floats:
    """Packing between two exposures, shape (n, 2 feet, 3 points): none at the heel."""
    full = truth.packing_wear_days
    share = np.minimum(after / full, 1.0) - np.minimum(before / full, 1.0)
    packed: Floats = (packing * share[:, None])[..., None] * np.array([1.0, 1.0, 0.0])
    return packed


def worn_mm(
    truth: Truth,
    log_rate: Floats,
    exposure: Floats,
    driving_foot: Floats,
    driving_minutes: Floats,
    rng: np.random.Generator,
) -> Floats:
    """A day's wear of the pairs worn, shape (n, 2 feet, 3 points).

    Minutes at the wheel add to the driving foot's wear.
    """
    extra = 1.0 + truth.driving_per_hour * driving_foot * driving_minutes[:, None] / 60.0
    mean = np.exp(log_rate) * (exposure[:, None] * extra)[..., None]
    return rng.gamma(np.maximum(mean / truth.step_mm, 1e-9), truth.step_mm)


def is_leather(material: Ints) -> Bools:
    """Which of these material numbers are leather."""
    return np.isin(material, [i for i, name in enumerate(MATERIALS) if name.endswith("leather")])
