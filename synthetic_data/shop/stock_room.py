"""Stock room: does stock last, when it is ordered up to a level?

An independent simulation of one item of a shop. Jobs come at random, and each takes the item with
its chance. Orders arrive after a random time. The shelf is looked at every so many days. What is
not there is owed. It knows nothing of how the level is found.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

__all__ = ["ITEM_MIXES", "ItemMix", "draw_levels", "simulate_stock"]


@dataclass(frozen=True)
class ItemMix:
    """One item: its jobs, its share of them, and how it is supplied.

    jobs_per_day : of all items of its use; level_log_sd : how unsure that is from year to year.
    share : chance that a job takes this item; quantity : what such a job takes.
    """

    jobs_per_day: float
    share: float
    supply_days: float
    supply_days_sd: float
    review_days: int
    service_level: float = 0.95
    level_log_sd: float = 0.0
    quantity: float = 1.0
    minimum_order: float = 0.0
    pack_size: float = 1.0


ITEM_MIXES: dict[str, ItemMix] = {
    "common size": ItemMix(1.5, 0.4, 14, 3, 7),
    "rare size": ItemMix(1.5, 0.04, 14, 3, 7),
    "pit-tanned, common": ItemMix(1.0, 0.5, 280, 30, 30),
    "pit-tanned, rare": ItemMix(0.6, 0.1, 280, 30, 30, level_log_sd=0.15),
    "looked at daily": ItemMix(2.0, 0.5, 10, 2, 1),
    "looked at each quarter": ItemMix(1.0, 0.6, 21, 5, 91),
    "sold by the dozen": ItemMix(1.0, 0.5, 14, 4, 7, minimum_order=12, pack_size=12),
    "whole bends": ItemMix(1.2, 0.5, 60, 10, 14, pack_size=10),
    "a doubtful year": ItemMix(1.5, 0.7, 45, 8, 14, level_log_sd=0.25),
    "half the jobs, nine in ten": ItemMix(3.0, 0.5, 30, 6, 7, service_level=0.9),
    "nearly never out": ItemMix(2.0, 0.8, 14, 3, 7, service_level=0.98),
    "cement by the bottle": ItemMix(1.5, 1.0, 7, 2, 14, quantity=60, pack_size=500),
}


def draw_levels(mix: ItemMix, years: int, rng: np.random.Generator) -> np.ndarray:
    """Draw the jobs a day of whole years, shape (years,)."""
    spread = mix.level_log_sd
    return np.asarray(mix.jobs_per_day * np.exp(rng.normal(-0.5 * spread**2, spread, years)))


def simulate_stock(
    mix: ItemMix,
    reorder_point: float,
    rng: np.random.Generator,
    *,
    worlds: int,
    orders: int,
) -> float:
    """Share of orders before whose arrival the shelf was empty and work waited.

    Each of some `worlds` has a level of its own and is followed until `orders` have come.
    """
    levels = draw_levels(mix, worlds, rng)
    shares = [_world(mix, level, reorder_point, rng, orders) for level in levels]
    return float(np.mean(shares))


def _world(
    mix: ItemMix, level: float, point: float, rng: np.random.Generator, orders: int
) -> float:
    """Follow one world; its first orders are not counted, as stock is full before them."""
    on_hand, on_way = point, deque[tuple[int, float]]()
    unsettled = 3
    counted = short = day = 0
    while counted < orders:
        takers = rng.random(rng.poisson(level)) < mix.share
        on_hand -= mix.quantity * float(takers.sum())
        day += 1
        while on_way and on_way[0][0] <= day:
            arrived = on_way.popleft()[1]
            if unsettled:
                unsettled -= 1
            else:
                counted += 1
                short += on_hand < -1e-9
            on_hand += arrived
        if day % mix.review_days:
            continue
        position = on_hand + sum(amount for _, amount in on_way)
        if position > point:
            continue
        wanted = max(point - position, mix.minimum_order)
        if not wanted:
            continue
        pieces = np.ceil(wanted / mix.pack_size - 1e-9)
        lasts = int(np.ceil(max(rng.normal(mix.supply_days, mix.supply_days_sd), 0.0)))
        # one supplier sends in the order of the orders
        arrives = max(day + lasts, on_way[-1][0] if on_way else 0)
        on_way.append((arrives, float(pieces * mix.pack_size)))
    return short / counted
