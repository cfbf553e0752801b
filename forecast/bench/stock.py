"""Stock control (periodic review).

How much of each material is needed while more is on its way, and what is ordered when?

Each review compares stock and orders with the reorder point. At or below it, order up to it plus a
review's need, at least the minimum. Safety stock covers demand and supply time, both uncertain:
Silver, Pyke and Thomas, Inventory and Production Management in Supply Chains (4th edition, 2017),
section 6.10. The newsvendor is their section 9.2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from solespan.forecast.errors import BadHorizon

__all__ = ["Advice", "Supply", "advise", "newsvendor", "reorder_point"]


@dataclass(frozen=True)
class Supply:
    """How an item is supplied.

    days, days_sd : supply time; pit-tanned leather takes most of a year.
    minimum_order : least that is sold at once, in the item's unit.
    service_level : chance of not running out before an order arrives.
    review_days : how often orders are thought about.
    """

    days: float
    days_sd: float = 0.0
    minimum_order: float = 0.0
    service_level: float = 0.95
    review_days: int = 7

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        if not 0 < self.service_level < 1:
            raise BadHorizon(f"service_level: {self.service_level} is not between 0 and 1")
        if min(self.days, self.days_sd, self.minimum_order) < 0 or self.review_days < 1:
            raise BadHorizon(
                "supply: times and amounts cannot be negative; review_days is 1 or more"
            )


@dataclass(frozen=True)
class Advice:
    """What to do about one item.

    reorder_point, safety_stock : in the item's unit.
    order_now : what to order today; 0 = nothing.
    order_in_days : days until the reorder point is reached in half the years; inf = beyond.
    runs_out_chance : chance of running out before an order placed today arrives.
    """

    reorder_point: float
    safety_stock: float
    order_now: float
    order_in_days: float
    runs_out_chance: float


def reorder_point(
    demand_per_day: float, demand_sd_per_day: float, supply: Supply
) -> tuple[float, float]:
    """Reorder point and safety stock for independent daily demand and supply time.

        mean = d S,  SD^2 = S s^2 + d^2 sL^2,  point = mean + z SD

    The span S is supply time + review time - 1 day, and sL is the SD of the supply time. The
    review is continuous when review_days = 1.

    Returns
    -------
    (float, float)
    """
    span = supply.days + supply.review_days - 1
    sd = np.sqrt(span * demand_sd_per_day**2 + demand_per_day**2 * supply.days_sd**2)
    safety = max(0.0, float(ndtri(supply.service_level) * sd))
    return demand_per_day * span + safety, safety


def newsvendor(mean: float, sd: float, short_cost: float, over_cost: float) -> float:
    """Amount of a single order that balances having too little and too much, for normal demand.

    The chance of enough is short_cost / (short_cost + over_cost).

    Raises
    ------
    BadHorizon
        A cost is not positive.
    """
    if short_cost <= 0 or over_cost <= 0:
        raise BadHorizon("short_cost and over_cost must be more than 0")
    return mean + sd * float(ndtri(short_cost / (short_cost + over_cost)))


def advise(
    use_by_day: np.ndarray, on_hand: float, on_order: float, supply: Supply, seed: int = 0
) -> Advice:
    """Advise on one item from simulated years of its use.

    Parameters
    ----------
    use_by_day : ndarray, shape (years, days)
        What jobs use of it on each day to come.
    on_hand, on_order : float
        Stock, and what was ordered and has not come.
    supply : Supply
    seed : int
        Of the supply times drawn.

    Returns
    -------
    Advice
        The reorder point is the `service_level` quantile of use over supply and review time. So
        it holds what all jobs of a year share.
    """
    years, days = use_by_day.shape
    total = np.cumsum(use_by_day, axis=1)
    rng = np.random.default_rng(seed)
    span = rng.normal(supply.days, supply.days_sd, years)
    until = np.clip(np.ceil(span) + supply.review_days - 1, 1, None)
    # beyond what was simulated the year's mean pace goes on
    inside = np.minimum(until, days).astype(int)
    need = total[np.arange(years), inside - 1] * (until / inside)
    point = float(np.quantile(need, supply.service_level))
    safety = max(0.0, point - float(need.mean()))
    position = on_hand + on_order
    ahead = float(np.median(total[:, min(supply.review_days, days) - 1]))
    order = 0.0
    if position <= point and point > 0:
        order = max(point - position + ahead, supply.minimum_order)
    left = position - np.median(total, axis=0)
    reached = np.flatnonzero(left <= point)
    in_days = float(reached[0]) if len(reached) else np.inf
    return Advice(
        reorder_point=point,
        safety_stock=safety,
        order_now=order,
        order_in_days=0.0 if order else in_days,
        runs_out_chance=float(np.mean(need > position)),
    )
