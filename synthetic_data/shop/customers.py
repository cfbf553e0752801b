"""Customers' habits: how often do they wear their pairs, when do they hand over or leave?

All values are invented: no published figures of these habits are known.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from solespan.forecast.frames import DRESS_CODES
from solespan.synthetic_data.pairs import Bools, Floats, Ints, Pairs, Wearers
from solespan.synthetic_data.truth import given

__all__ = ["CustomerTruth", "Customers", "draw_customers", "varied_customers"]

NEVER = 10**7
BEFORE_JOINING_DAYS = 2200  # how long a pair may have been worn when its owner joins


@dataclass(frozen=True)
class CustomerTruth:
    """Every parameter of silent customers; each field's metadata holds `unit` and `source`."""

    pace_per_week: float = given(1.9, "wear days per week of a business pair, median", "invented")
    sd_going_out: float = given(0.40, "log, between wearers", "invented")
    sd_share: float = given(0.40, "log, between a wearer's pairs", "invented")
    dress_factors: tuple[float, ...] = given(
        (0.7, 1.0, 0.9, 0.75), "ratio: formal, business, casual, outdoor", "invented"
    )
    sd_sole_rate: float = given(0.08, "log, between the soles of a pair", "invented")
    sd_threshold_mm: float = given(0.45, "mm round the limit, between wearers", "invented")
    sd_threshold_sole_mm: float = given(0.20, "mm, from sole to sole", "invented")
    careless_share: float = given(0.08, "share of wearers who wait for a hole", "invented")
    delay_days: float = given(30.0, "days, median of wearers' mean delays", "invented")
    sd_delay: float = given(0.6, "log, between wearers", "invented")
    leave_per_visit: float = given(0.05, "chance after each visit", "invented")
    move_per_year: float = given(0.02, "hazard: the wearer leaves with all pairs", "invented")
    give_away_per_year: float = given(0.02, "hazard: one pair is given away", "invented")
    sold_share: float = given(0.35, "share of pairs whose first sole the shop fitted", "invented")
    join_power: float = given(
        1.6, "1: customers come evenly over the shop's years; more: rather in the first", "invented"
    )
    stated_share: float = given(0.40, "share of other pairs whose owner states its age", "invented")
    sd_stated: float = given(0.10, "log, error of a stated age", "invented")
    counter_reading_share: float = given(0.20, "share of soles read when taken off", "invented")
    midlife_reading_share: float = given(0.10, "share of soles read once in between", "invented")
    counter_thumb_share: float = given(0.5, "share of those readings with grades", "invented")
    pair_counts: tuple[float, ...] = given(
        (46, 28, 13, 7, 3, 2, 1), "weight of owning 1, 2, ... pairs", "invented"
    )


def varied_customers(truth: CustomerTruth, rng: np.random.Generator) -> CustomerTruth:
    """Move the levels and SDs that a forecaster must learn, so that shops differ."""
    return replace(
        truth,
        pace_per_week=truth.pace_per_week * rng.lognormal(0.0, 0.12),
        sd_going_out=truth.sd_going_out * rng.uniform(0.75, 1.3),
        sd_share=truth.sd_share * rng.uniform(0.7, 1.3),
        sd_sole_rate=truth.sd_sole_rate * rng.uniform(0.6, 1.5),
        sd_threshold_mm=truth.sd_threshold_mm * rng.uniform(0.8, 1.25),
        careless_share=truth.careless_share * rng.uniform(0.5, 1.5),
        delay_days=truth.delay_days * rng.lognormal(0.0, 0.3),
        leave_per_visit=truth.leave_per_visit * rng.uniform(0.5, 1.7),
        move_per_year=truth.move_per_year * rng.uniform(0.5, 1.6),
        give_away_per_year=truth.give_away_per_year * rng.uniform(0.5, 1.6),
    )


@dataclass(frozen=True)
class Customers:
    """Habits of wearers (first block) and pairs (second); days count from the world's first.

    `threshold_mm` is above the limit, -inf for an owner who waits for a hole. `moved_day` and
    `given_day` are `NEVER` or the day of leaving. `sold` pairs had their first sole from the shop.
    """

    joined_day: Ints
    threshold_mm: Floats
    delay_days: Floats
    moved_day: Ints
    log_pace: Floats
    sold: Bools
    stated: Bools
    given_after_days: Floats


def draw_customers(
    truth: CustomerTruth,
    wearers: Wearers,
    pairs: Pairs,
    rng: np.random.Generator,
    *,
    opened_day: int,
    log_end: int,
) -> tuple[Customers, Pairs]:
    """The customers' habits, and the pairs with the days on which their first soles were fitted."""
    n, m = len(wearers), len(pairs)
    span = max(log_end - 60 - opened_day, 1)
    joined = opened_day + (span * rng.random(n) ** truth.join_power).astype(int)
    careless = rng.random(n) < truth.careless_share
    threshold = rng.normal(0.0, truth.sd_threshold_mm, n)
    out = rng.normal(0.0, truth.sd_going_out, n)
    delay = truth.delay_days * rng.lognormal(0.0, truth.sd_delay, n)
    stay = rng.exponential(365.25 / truth.move_per_year, n)
    sold = rng.random(m) < truth.sold_share
    first_of_owner = np.r_[True, pairs.wearer[1:] != pairs.wearer[:-1]]
    since = joined[pairs.wearer]
    later = since + rng.random(m) * np.maximum(log_end - 30 - since, 0)
    earlier = since - rng.random(m) * BEFORE_JOINING_DAYS
    fitted = np.where(sold, np.where(first_of_owner, since, later), earlier)
    dress = np.log(np.asarray(truth.dress_factors))[pairs.dress_code]
    assert len(truth.dress_factors) == len(DRESS_CODES)  # noqa: S101 - one factor a word
    customers = Customers(
        joined_day=joined,
        threshold_mm=np.where(careless, -np.inf, threshold),
        delay_days=delay,
        moved_day=np.minimum(joined + stay, NEVER).astype(int),
        log_pace=np.log(truth.pace_per_week)
        + out[pairs.wearer]
        + dress
        + rng.normal(0.0, truth.sd_share, m),
        sold=sold,
        stated=rng.random(m) < truth.stated_share,
        given_after_days=rng.exponential(365.25 / truth.give_away_per_year, m),
    )
    return customers, replace(pairs, first_day=fitted.astype(int))
