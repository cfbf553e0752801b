"""Lives of soles: which soles does one pair get through, and when is it handed over?

A pair is worn on chance days at its own pace, with season and slow drift. Every sole is worn on
past its removal in a life that never was, so that its due day is known. Hand-overs go on after the
log's end as they would happen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from solespan.forecast.frames import MATERIALS
from solespan.synthetic_data.pairs import Bools, Floats, Ints, Pairs, Wearers
from solespan.synthetic_data.resoling import Job, Sole, fit_sole, send
from solespan.synthetic_data.shop.customers import NEVER, Customers, CustomerTruth
from solespan.synthetic_data.sim_calendar import Calendar
from solespan.synthetic_data.truth import Truth
from solespan.synthetic_data.wear_process import (
    driving_mask,
    is_leather,
    log_rates,
    packed_mm,
    worn_mm,
)
from solespan.synthetic_data.wearing import (
    WINTER,
    Conditions,
    draw_conditions,
    wander,
    wet_chances,
    winter_wave,
)

__all__ = ["PairLife", "Shop", "SoleLife", "live_pair"]

LEAST_THRESHOLD_MM = 0.0  # a hole is seen by anybody
RETURN_RATE = 0.99  # per week: drift wanders, but not for ever
MOST_CHANCE = 0.9  # a day, of wearing one pair


@dataclass(frozen=True)
class SoleLife:
    """One sole as it was worn, and as it would have been worn on.

    `day`, `exposure` and `thickness` (n, 2 feet) are those of the ball, one row a wear day, up to
    the hole. `due_day` (2 feet) and `handed_day` are `NEVER` where not before the last day.
    """

    sole: Sole
    log_rate: Floats
    day: Ints
    exposure: Floats
    thickness: Floats
    due_day: Ints
    handed_day: int
    job: Job | None


@dataclass(frozen=True)
class PairLife:
    """One pair: its soles in order, the day the shop came to know it, and the day it was lost.

    `known_day` and `gone_day` may be `NEVER`; `gone_why` is `moved`, `given_away`, `elsewhere` or
    empty. `chance` is that of wearing it, by day from the first sole on.
    """

    lives: list[SoleLife]
    chance: Floats
    known_day: int
    gone_day: int
    gone_why: str


@dataclass(frozen=True)
class Shop:
    """All that one pair's life depends on."""

    truth: Truth
    habits: CustomerTruth
    wearers: Wearers
    pairs: Pairs
    customers: Customers
    calendar: Calendar
    last_day: int
    rates: dict[int, Floats]
    turning: Floats

    @classmethod
    def of(
        cls,
        truth: Truth,
        habits: CustomerTruth,
        wearers: Wearers,
        pairs: Pairs,
        customers: Customers,
        calendar: Calendar,
        last_day: int,
    ) -> Shop:
        """Gather, with the log rates by material."""
        n = len(pairs)
        rates = {
            k: log_rates(truth, wearers, pairs, np.full(n, k))[..., 0]
            for k in range(len(MATERIALS))
        }
        turning = driving_mask(wearers, pairs)
        return cls(truth, habits, wearers, pairs, customers, calendar, last_day, rates, turning)


def live_pair(shop: Shop, pair: int, rng: np.random.Generator) -> PairLife:
    """Live through one pair's days, from its first sole to the last day of the world."""
    drift, wearing, weather, soling = rng.spawn(4)
    chance = _chances(shop, pair, drift)
    first = int(shop.pairs.first_day[pair])
    day = first + 1 + np.flatnonzero(wearing.random(len(chance)) < chance)
    year_day = (shop.calendar.first.day_of_year - 1 + day) % 365
    leather = np.full(len(day), bool(is_leather(shop.pairs.material[[pair]])[0]))
    conditions = draw_conditions(
        shop.truth, shop.wearers, shop.pairs, np.full(len(day), pair),
        wet_chances(year_day), leather, weather,
    )  # fmt: skip
    return _lives(shop, pair, day, conditions, chance, soling)


def _chances(shop: Shop, pair: int, rng: np.random.Generator) -> Floats:
    """Chance of wearing the pair on each day after its first sole was fitted."""
    day = np.arange(shop.pairs.first_day[pair] + 1, shop.last_day + 1)
    weeks = len(day) // 7 + 1
    log_pace = (
        shop.customers.log_pace[pair]
        + np.repeat(wander(rng, weeks, 1, RETURN_RATE, shop.truth.sd_drift_week)[:, 0], 7)[
            : len(day)
        ]
    )
    year_day = (shop.calendar.first.day_of_year - 1 + day) % 365
    log_pace += shop.truth.season * winter_wave(year_day) * WINTER[shop.pairs.dress_code[pair]]
    return np.asarray(np.minimum(np.exp(log_pace) / 7.0, MOST_CHANCE))


def _lives(
    shop: Shop,
    pair: int,
    day: Ints,
    conditions: Conditions,
    chance: Floats,
    rng: np.random.Generator,
) -> PairLife:
    customers, owner = shop.customers, int(shop.pairs.wearer[pair])
    joined, moved = int(customers.joined_day[owner]), int(customers.moved_day[owner])
    fitted, free, number = int(shop.pairs.first_day[pair]), 0, 1
    known = fitted if customers.sold[pair] else NEVER
    gone, why = (moved, "moved") if moved < NEVER else (NEVER, "")
    given = NEVER if known == NEVER else known + int(customers.given_after_days[pair])
    lives: list[SoleLife] = []
    while True:
        if given < gone:
            gone, why = given, "given_away"
        rest = day > max(fitted, free - 1)
        life = _wear_out(shop, pair, fitted, number, day[rest], conditions, rest, rng)
        comes = life.handed_day < min(gone, shop.last_day)
        if not comes:
            lives.append(replace(life, handed_day=NEVER))
            return PairLife(lives, chance, known, gone if known < NEVER else NEVER, why)
        job = send(shop.truth, pair, f"{life.sole.cover}_sole", life.handed_day, rng)
        life.sole.removed_day = life.handed_day
        lives.append(replace(life, job=job))
        fitted, free, number = job.finished_day, job.returned_day, number + 1
        if life.handed_day >= joined:
            if known == NEVER:
                known = life.handed_day
                given = known + int(customers.given_after_days[pair])
            if rng.random() < shop.habits.leave_per_visit and free < gone:
                gone, why = free, "elsewhere"


def _wear_out(
    shop: Shop,
    pair: int,
    fitted: int,
    number: int,
    day: Ints,
    conditions: Conditions,
    rows: Bools,
    rng: np.random.Generator,
) -> SoleLife:
    """Wear one sole to the hole, and say when its owner would hand it over."""
    truth, customers, owner = shop.truth, shop.customers, int(shop.pairs.wearer[pair])
    sole = fit_sole(truth, shop.pairs, pair, fitted, number, rng)
    log_rate = shop.rates[sole.material][pair] + rng.normal(0.0, shop.habits.sd_sole_rate)
    scatter = rng.normal(0.0, shop.habits.sd_threshold_sole_mm)
    wait = rng.exponential(customers.delay_days[owner])
    exposure, minutes = conditions.exposure[rows], conditions.driving_minutes[rows]
    total = np.cumsum(exposure)
    enough = np.searchsorted(total, 2.0 * sole.start_mm.max() / np.exp(log_rate.min())) + 1
    exposure, minutes, total = (a[:enough] for a in (exposure, minutes, total))
    day = day[:enough]
    loss = worn_mm(
        truth, log_rate[:, None], exposure, np.tile(shop.turning[pair], (len(day), 1)), minutes, rng
    )[..., 0]
    packing = np.tile(sole.packing_mm, (len(day), 1))
    loss += packed_mm(truth, packing, total - exposure, total)[..., 0]
    thickness = np.maximum(sole.start_mm[:, 0] - np.cumsum(loss, axis=0), 0.0)
    due = _first_days(day, thickness <= sole.limit_mm)
    threshold = sole.limit_mm + customers.threshold_mm[owner] + scatter
    worn_out = thickness.min(axis=1) <= max(threshold, LEAST_THRESHOLD_MM)
    noticed = _first_days(day, worn_out[:, None])[0]
    handed = NEVER if noticed == NEVER else int(noticed) + 1 + int(wait)
    return SoleLife(sole, log_rate, day, exposure, thickness, due, handed, None)


def _first_days(day: Ints, reached: Bools) -> Ints:
    """First day on which each column holds, `NEVER` where it does not."""
    if not len(day):
        return np.full(reached.shape[1], NEVER)
    return np.where(reached.any(axis=0), day[reached.argmax(axis=0)], NEVER)
