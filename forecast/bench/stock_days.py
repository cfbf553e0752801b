"""Stock by day (periodic review over simulated years).

How much of an item is there each morning, if it is ordered as `forecast.bench.stock` advises?
"""

from __future__ import annotations

import numpy as np

from solespan.forecast.bench.stock import Supply, order_amounts

__all__ = ["LEATHER_USES", "stock_by_day"]

LEATHER_USES = ("sole", "half_sole", "welt")


def stock_by_day(
    use_by_day: np.ndarray, on_hand: float, coming: np.ndarray, point: float, supply: Supply
) -> np.ndarray:
    """Amount there in the morning of each day, shape (years, days), in the item's unit.

    Each review orders what the advice would. An order comes after the mean supply time. What is not
    there is not used.

    Parameters
    ----------
    use_by_day : ndarray, shape (years, days)
        The first day also holds what jobs at the shop will take.
    on_hand : float
    coming : ndarray, shape (days,)
        What orders that are open bring on each day.
    point : float
        Reorder point, as `advise` gives it; 0 orders nothing.
    supply : Supply
    """
    years, days = use_by_day.shape
    supply_days = round(supply.days)
    there = np.full(years, float(on_hand))
    on_order = np.full(years, float(coming.sum()))
    arrivals = np.zeros((years, days + supply_days + 1))
    arrivals[:, :days] = coming
    out = np.empty((years, days))
    for day in range(days):
        on_order -= arrivals[:, day]
        there += arrivals[:, day]
        out[:, day] = there
        there = np.maximum(there - use_by_day[:, day], 0.0)
        if point > 0 and day % supply.review_days == 0:
            order = order_amounts(there + on_order - point, supply)
            arrivals[:, day + 1 + supply_days] += order
            on_order += order
    return out
