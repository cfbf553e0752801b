"""Simulated racks.

Who owns which pairs, how does each owner walk, look and write, and what is each pair made of?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from solespan.forecast.frames import CONSTRUCTIONS, DRESS_CODES, MATERIALS
from solespan.synthetic_data.truth import Truth

__all__ = ["GAUGES", "HOURS_STYLES", "KINDS", "Pairs", "Wearers", "draw_pairs", "draw_wearers"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

KINDS = ("gauge", "gauge_and_thumb", "thumb", "hardly")
HOURS_STYLES = ("empty", "hours", "steps")
GAUGES = ("caliper", "depth_gauge", "ultrasonic")
GAUGE_WEIGHTS = (0.55, 0.3, 0.15)
LEATHERS = ("oak_bark_leather", "veg_tan_leather", "flexible_leather")
# weights of materials, constructions and new thicknesses (mm) by dress code: invented
MATERIAL_WEIGHTS = {
    "formal": (0.40, 0.45, 0.15, 0.0, 0.0),
    "business": (0.35, 0.40, 0.15, 0.05, 0.05),
    "casual": (0.15, 0.40, 0.15, 0.15, 0.15),
    "outdoor": (0.10, 0.30, 0.05, 0.25, 0.30),
}
SOLD_MATERIALS = (*LEATHERS, "rubber", "studded_rubber")
THICKNESSES_MM = {
    "formal": (4.5, 4.8, 5.0),
    "business": (4.8, 5.0, 5.3),
    "casual": (5.0, 5.3, 5.5),
    "outdoor": (5.5, 6.0, 6.35),
}


@dataclass(frozen=True)
class Wearers:
    """One entry per wearer; effects are on the log rate, driving foot 0 none 1 left 2 right."""

    first_day: Ints
    driving_foot: Ints
    driving_minutes: Floats
    effect: Floats
    asymmetry: Floats
    point_effect: Floats
    kind: Ints
    gauge: Ints
    gauge_bias_mm: Floats
    thumb_shift_mm: Floats
    hours_style: Ints
    notes_ground: Bools
    forgotten_share: Floats
    usual_hours: Floats
    wear_days_per_week: Floats
    works_weekdays: Bools
    rest_days: Ints
    send_offset_mm: Floats
    n_pairs: Ints

    def __len__(self) -> int:
        """How many wearers there are."""
        return len(self.first_day)


@dataclass(frozen=True)
class Pairs:
    """One entry per pair; `foot_effect` is (pairs, 2), left then right."""

    wearer: Ints
    first_day: Ints
    dress_code: Ints
    construction: Ints
    material: Ints
    nominal_mm: Floats
    limit_mm: Floats
    effect: Floats
    foot_effect: Floats
    log_share: Floats
    earlier_resoles: Ints

    def __len__(self) -> int:
        """How many pairs there are."""
        return len(self.wearer)


def draw_wearers(
    truth: Truth, rng: np.random.Generator, *, n_pairs: int, history_days: int
) -> Wearers:
    """Owners until `n_pairs` pairs have one; the last owner has what is left."""
    counts: list[int] = []
    weights = np.asarray(truth.pair_counts, float)
    while sum(counts) < n_pairs:
        counts.append(1 + int(rng.choice(len(weights), p=weights / weights.sum())))
    counts[-1] -= sum(counts) - n_pairs
    owned = np.asarray(counts)
    n = len(owned)
    late = rng.random(n) < truth.newcomer_share
    driver = rng.random(n) < truth.driver_share
    foot = np.where(rng.random(n) < truth.driving_left_share, 1, 2)
    kind = rng.choice(4, size=n, p=truth.checker_shares)
    gauge = rng.choice(3, size=n, p=GAUGE_WEIGHTS)
    bias = rng.normal(0.0, truth.sd_gauge_bias_mm, n)
    keeps_rest = (owned >= 3) & (rng.random(n) < truth.keeps_rest_share)
    a = truth.forgotten_mean * truth.forgotten_strength
    week = truth.wear_days_per_week * np.sqrt(owned) * rng.lognormal(0.0, truth.sd_wear_days, n)
    comes_late = rng.random(n) < truth.late_share
    return Wearers(
        first_day=np.where(late, rng.integers(0, max(1, history_days - 90), n), 0),
        driving_foot=np.where(driver, foot, 0),
        driving_minutes=np.where(driver, 35.0 * rng.lognormal(0.0, 0.4, n), 0.0),
        effect=_wearer_effects(truth, rng, n),
        asymmetry=rng.normal(0.0, truth.sd_asymmetry, n),
        point_effect=rng.normal(0.0, truth.sd_wearer_point, (n, 3)) * np.array([0.0, 1.0, 1.0]),
        kind=kind,
        gauge=gauge,
        gauge_bias_mm=bias,
        thumb_shift_mm=rng.normal(0.0, truth.sd_thumb_shift_mm, n),
        hours_style=rng.choice(3, size=n, p=truth.hours_style_shares),
        notes_ground=rng.random(n) < truth.notes_ground_share,
        forgotten_share=rng.beta(a, truth.forgotten_strength - a, n) if a > 0 else np.zeros(n),
        usual_hours=8.0 * rng.lognormal(0.0, truth.sd_usual_hours, n),
        wear_days_per_week=np.minimum(week, 6.3),
        works_weekdays=rng.random(n) < 0.7,
        rest_days=keeps_rest.astype(int),
        send_offset_mm=np.where(comes_late, -rng.uniform(0.3, 2.4, n), rng.normal(0.1, 0.2, n)),
        n_pairs=owned,
    )


def _wearer_effects(truth: Truth, rng: np.random.Generator, n: int) -> Floats:
    """Log factors of the wearers: normal, or the log of a gamma with the same SD of the factor."""
    if truth.rate_family == "gamma":
        shape = 1.0 / np.expm1(truth.sd_wearer**2)
        return np.log(np.maximum(rng.gamma(shape, 1.0 / shape, n), 1e-3))
    return rng.normal(0.0, truth.sd_wearer, n)


def draw_pairs(
    truth: Truth, wearers: Wearers, rng: np.random.Generator, *, history_days: int
) -> Pairs:
    """The pairs of these wearers; a third of an owner's further pairs are acquired later."""
    wearer = np.repeat(np.arange(len(wearers)), wearers.n_pairs)
    n = len(wearer)
    joined = wearers.first_day[wearer]
    first_of_owner = np.r_[True, wearer[1:] != wearer[:-1]]
    later = ~first_of_owner & (rng.random(n) < 0.33)
    acquired = joined + rng.random(n) * np.maximum(history_days - 10 - joined, 0)
    dress = rng.choice(4, size=n, p=(0.12, 0.43, 0.30, 0.15))
    material, nominal = np.empty(n, int), np.empty(n)
    for code, word in enumerate(DRESS_CODES):
        of = dress == code
        sold = rng.choice(len(SOLD_MATERIALS), size=of.sum(), p=MATERIAL_WEIGHTS[word])
        material[of] = [MATERIALS.index(SOLD_MATERIALS[k]) for k in sold]
        nominal[of] = rng.choice(THICKNESSES_MM[word], size=of.sum())
    return Pairs(
        wearer=wearer,
        first_day=np.where(later, acquired, joined).astype(int),
        dress_code=dress,
        construction=rng.choice(
            len(CONSTRUCTIONS), size=n, p=(0.62, 0.14, 0.08, 0.05, 0.04, 0.07, 0.0)
        ),
        material=material,
        nominal_mm=nominal,
        limit_mm=rng.choice((1.5, 2.0, 2.5), size=n, p=(0.1, 0.8, 0.1)),
        effect=rng.normal(0.0, truth.sd_pair, n),
        foot_effect=rng.normal(0.0, truth.sd_foot_of_pair, (n, 2)),
        log_share=rng.normal(0.0, truth.sd_share, n),
        earlier_resoles=rng.poisson(0.4, n),
    )
