"""Does the leather of a year follow use, reviews and supply times?"""

from __future__ import annotations

import numpy as np

from solespan.forecast.workload.leather import Supplied, stock_by_day


def item(**changes: float) -> Supplied:
    values = {"on_hand": 10.0, "reorder_point": 4.0, "minimum_order": 0.0}
    return Supplied(**(values | {"supply_days": 5, "review_days": 7} | changes))


def test_without_use_the_stock_stays():
    held = stock_by_day(np.zeros((3, 60)), item())
    assert (held == 10.0).all()


def test_without_orders_the_stock_falls_to_nothing_and_not_below():
    held = stock_by_day(np.ones((1, 20)), item(reorder_point=0.0))
    assert held[0].tolist() == [max(0.0, 10.0 - day) for day in range(20)]


def test_an_order_comes_after_its_supply_time_and_is_placed_once():
    use = np.zeros((1, 40))
    use[0, 6] = 7.0  # the review of day 7 finds three pairs, below the point
    held = stock_by_day(use, item())
    assert held[0, 7:13].tolist() == [3.0] * 6
    # up to the point and the need of one review: 4 + 7
    assert held[0, 13:].tolist() == [11.0] * 27


def test_what_comes_and_goes_adds_up():
    rng = np.random.default_rng(3)
    use = rng.poisson(0.2, (50, 365)).astype(float)
    held = stock_by_day(use, item(reorder_point=6.0, supply_days=20))
    used = np.minimum(held, use)
    came = held[:, 1:] - (held[:, :-1] - used[:, :-1])
    assert (came >= -1e-9).all()
    # 6 and a review's 1.4, less 0.2 a day over 27 days and half a review's use
    assert 2.0 < held[:, 100:].mean() < 4.0
