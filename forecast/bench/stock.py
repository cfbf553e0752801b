"""Stock control (periodic review).

How much of each material is needed while more is on its way, and what is ordered when?

Every R days the position is looked at: stock, less what jobs in hand will take, and what is on
order. Below the level s it is brought up to s again, in whole pieces and at least the minimum
order. Without a minimum this is order-up-to, (R, S); with one it is (R, s, nQ). A review finds the
position below s by the undershoot, and an order has to last until it arrives. So s is the
`service_level` quantile of undershoot and use over the supply time. Silver, Pyke and Thomas,
Inventory and Production Management in Supply Chains (4th edition, 2017), chapter 6, from memory.
The newsvendor is their section 9.2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from solespan.forecast.errors import BadHorizon

__all__ = [
    "Advice",
    "Supply",
    "advise",
    "learnt_supply",
    "newsvendor",
    "order_amounts",
    "reorder_point",
]

_DRAWS = 8  # supply times and undershoots drawn of each simulated year
_REVIEWS = 60  # so many reviews of a year are looked at for the undershoot
_WINDOWS = 3  # the fewest reviews' time that they are drawn from
_STATED_ORDERS = 3.0  # a stated supply time counts as so many orders: common practice, no source


@dataclass(frozen=True)
class Supply:
    """How an item is supplied.

    days, days_sd : supply time; pit-tanned leather takes most of a year.
    minimum_order : least that is sold at once, in the item's unit.
    service_level : chance of not running out before an order arrives.
    review_days : how often orders are thought about.
    pack_size : what one whole piece holds, in the item's unit; 0 = any amount is sold.
    """

    days: float
    days_sd: float = 0.0
    minimum_order: float = 0.0
    service_level: float = 0.95
    review_days: int = 7
    pack_size: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        if not 0 < self.service_level < 1:
            raise BadHorizon(f"service_level: {self.service_level} is not between 0 and 1")
        if min(self.days, self.days_sd, self.minimum_order, self.pack_size) < 0:
            raise BadHorizon("supply: times and amounts cannot be negative")
        if self.review_days < 1:
            raise BadHorizon("supply: review_days is 1 or more")

    def whole(self, amount: float) -> float:
        """Return an amount to order as whole pieces, at least the minimum."""
        amount = max(amount, self.minimum_order)
        if self.pack_size <= 0:
            return amount
        return float(np.ceil(amount / self.pack_size - 1e-9) * self.pack_size)


@dataclass(frozen=True)
class Advice:
    """What to do about one item.

    reorder_point, safety_stock : s, and what of it is more than the mean need, in the item's unit.
    order_now : what to order today; 0 = nothing.
    order_in_days : days until the reorder point is reached in half the years; inf = beyond.
    runs_out_chance : chance of running out before an order placed today arrives.
    stock_out_chance : chance of running out before an order arrives under the policy. Whole pieces
        leave it at or under 1 - service_level.
    """

    reorder_point: float
    safety_stock: float
    order_now: float
    order_in_days: float
    runs_out_chance: float
    stock_out_chance: float


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


def learnt_supply(days: float, days_sd: float, seen_days: np.ndarray) -> tuple[float, float]:
    """Supply time and its SD from what is stated and from orders that came.

    The stated time counts as three orders. Means and variances are pooled.
    """
    n = len(seen_days)
    if not n:
        return days, days_sd
    mean = (_STATED_ORDERS * days + float(np.sum(seen_days))) / (_STATED_ORDERS + n)
    squares = _STATED_ORDERS * (days_sd**2 + (days - mean) ** 2)
    squares += float(np.sum(np.square(seen_days - mean)))
    return mean, float(np.sqrt(squares / (_STATED_ORDERS + n)))


def advise(
    use_by_day: np.ndarray, on_hand: float, on_order: float, supply: Supply, seed: int = 0
) -> Advice:
    """Advise on one item from simulated years of its use.

    Parameters
    ----------
    use_by_day : ndarray, shape (years, days)
        What jobs use of it on each day to come.
    on_hand, on_order : float
        Stock less what jobs in hand will take, and what was ordered and has not come.
    supply : Supply
    seed : int
        Of the supply times and undershoots drawn.

    Returns
    -------
    Advice
        Undershoot and use are of one simulated year, so the point holds what its jobs share.
    """
    years, days = use_by_day.shape
    rng = np.random.default_rng(seed)
    total = np.cumsum(use_by_day, axis=1)
    span = np.ceil(np.maximum(rng.normal(supply.days, supply.days_sd, (years, _DRAWS)), 0.0))
    over_supply = _use_until(total, span.astype(int))
    review = min(supply.review_days, days)
    pieces = bool(np.all(use_by_day == np.floor(use_by_day)))
    under = _undershoot(use_by_day, review, supply, rng)
    if supply.review_days == 1 and not pieces:
        under = np.zeros_like(under)  # reviewed all the time, what flows is ordered at the point
    need = over_supply + under
    point = float(np.quantile(need, supply.service_level, method="inverted_cdf"))
    position = on_hand + on_order
    order = 0.0
    if position <= point and point > 0:
        order = supply.whole(point - position)
    left = position - np.median(total, axis=0)
    reached = np.flatnonzero(left <= point)
    in_days = float(reached[0]) if len(reached) else np.inf
    return Advice(
        reorder_point=point,
        safety_stock=max(0.0, point - float(need.mean())),
        order_now=order,
        order_in_days=0.0 if order else in_days,
        runs_out_chance=float(np.mean(over_supply > position)),
        stock_out_chance=float(np.mean(need > point)),
    )


def order_amounts(above: np.ndarray, supply: Supply) -> np.ndarray:
    """Amounts to order, given how far each position is above the reorder point; same shape.

    All are in the item's unit.
    """
    amount = np.where(above <= 0, np.maximum(-above, supply.minimum_order), 0.0)
    if supply.pack_size > 0:
        amount = np.ceil(amount / supply.pack_size - 1e-9) * supply.pack_size
    return amount


def _use_until(total: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Use of each year until some days of it, shapes (years, days) and (years, draws).

    Beyond what was simulated the same year begins again.
    """
    days = total.shape[1]
    whole, rest = np.divmod(day, days)
    from_zero = np.concatenate([np.zeros((len(total), 1)), total], axis=1)
    return np.asarray(whole * total[:, -1:] + np.take_along_axis(from_zero, rest, axis=1))


def _undershoot(
    use_by_day: np.ndarray, review: int, supply: Supply, rng: np.random.Generator
) -> np.ndarray:
    """How far below the reorder point orders find the position, shape (years, draws).

    The position over the point is followed through reviews that are drawn from each year. They lie
    after the supply time where the year is long enough, so that no day counts twice. A year without
    an order has none.
    """
    years, days = use_by_day.shape
    later = int(np.ceil(supply.days + 2 * supply.days_sd))
    start = min(later, max(0, days - _WINDOWS * review))
    windows = (days - start) // review
    use = use_by_day[:, start : start + windows * review]
    use = use.reshape(years, windows, review).sum(axis=2)
    # an order finds the position by chance when some reviews went before it
    above = np.ceil(rng.random(years) * min(supply.whole(0.0), 4.0 * float(use.mean())))
    found = np.full((years, _REVIEWS), np.nan)
    for at in range(_REVIEWS):
        above = above - use[np.arange(years), rng.integers(windows, size=years)]
        order = order_amounts(above, supply)
        found[order > 0, at] = -above[order > 0]
        above = above + order
    return _drawn(found, rng)


def _drawn(found: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw some of the numbers of each row, NaN apart; 0 where it has none."""
    count = (~np.isnan(found)).sum(axis=1)
    ordered = np.sort(found, axis=1)  # NaN stand last
    place = np.floor(rng.random((len(found), _DRAWS)) * count[:, None]).astype(int)
    return np.asarray(np.nan_to_num(np.take_along_axis(ordered, place, axis=1)))
