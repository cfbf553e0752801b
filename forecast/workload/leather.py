"""Leather of a year: how much of an item is there on each day, if it is ordered as advised?

Periodic review, as in `forecast.bench.stock`. Each review compares stock and orders with the
reorder point. At or below it, an order fills up to it and a review's need. An order comes after the
supply time. What is not there is not used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["LEATHER_USES", "Supplied", "stock_by_day"]

LEATHER_USES = ("sole", "half_sole", "welt")


@dataclass(frozen=True)
class Supplied:
    """How much of an item is there, and how it is ordered."""

    on_hand: float
    reorder_point: float
    minimum_order: float
    supply_days: int
    review_days: int


def stock_by_day(use_by_day: np.ndarray, item: Supplied) -> np.ndarray:
    """Amount there in the morning of each day, shape (years, days).

    Parameters
    ----------
    use_by_day : ndarray, shape (years, days)
    item : Supplied
    """
    years, days = use_by_day.shape
    review_need = float(np.median(use_by_day[:, : item.review_days].sum(axis=1)))
    there = np.full(years, float(item.on_hand))
    on_order = np.zeros(years)
    coming = np.zeros((years, days + item.supply_days + 1))
    out = np.empty((years, days))
    for day in range(days):
        on_order -= coming[:, day]
        there += coming[:, day]
        out[:, day] = there
        there = np.maximum(there - use_by_day[:, day], 0.0)
        if day % item.review_days == 0:
            position = there + on_order
            wanted = np.maximum(item.reorder_point + review_need - position, item.minimum_order)
            order = np.where((position <= item.reorder_point) & (item.reorder_point > 0), wanted, 0)
            coming[:, day + 1 + item.supply_days] += order
            on_order += order
    return out
