"""Does the stock of a year follow use, reviews, open orders and supply times, as it is advised?"""

from __future__ import annotations

import numpy as np
import pytest

from solespan.forecast.bench.stock import Supply, advise
from solespan.forecast.bench.stock_days import stock_by_day

SUPPLY = Supply(days=5, review_days=7)


def held(use: np.ndarray, *, on_hand=10.0, coming=None, point=4.0, supply=SUPPLY) -> np.ndarray:
    ahead = np.zeros(use.shape[1]) if coming is None else coming
    return stock_by_day(use, on_hand, ahead, point, supply)


def test_without_use_the_stock_stays():
    assert (held(np.zeros((3, 60))) == 10.0).all()


def test_without_orders_the_stock_falls_to_nothing_and_not_below():
    found = held(np.ones((1, 20)), point=0.0)
    assert found[0].tolist() == [max(0.0, 10.0 - day) for day in range(20)]


def test_an_order_comes_after_its_supply_time_and_is_placed_once():
    use = np.zeros((1, 40))
    use[0, 6] = 7.0  # the review of day 7 finds three pairs, one below the point
    found = held(use)
    assert found[0, 7:13].tolist() == [3.0] * 6
    assert found[0, 13:].tolist() == [4.0] * 27


def test_what_is_on_order_counts_and_comes_on_its_day():
    use, coming = np.zeros((1, 40)), np.zeros(40)
    use[0, 0], coming[9] = 8.0, 6.0
    found = held(use, coming=coming)
    assert found[0, 1:9].tolist() == [2.0] * 8
    assert found[0, 9:].tolist() == [8.0] * 31, "what is on order is not ordered again"


@pytest.mark.parametrize("supply", [SUPPLY, Supply(5, minimum_order=6), Supply(5, pack_size=4)])
def test_the_first_order_is_the_one_advised(supply):
    use = np.random.default_rng(5).poisson(0.3, (300, 200)).astype(float)
    told = advise(use, 1.0, 0.0, supply)
    found = held(use, on_hand=1.0 + use[:, 0].max(), point=told.reorder_point, supply=supply)
    fits = use[:, 0] == use[:, 0].max()  # these stand at one piece at the first review
    came = found[fits, 6] - np.maximum(found[fits, 5] - use[fits, 5], 0.0)
    assert told.order_now > 0
    assert came == pytest.approx(told.order_now)


def test_what_comes_and_goes_adds_up():
    use = np.random.default_rng(3).poisson(0.2, (50, 365)).astype(float)
    found = held(use, point=6.0, supply=Supply(days=20))
    came = found[:, 1:] - np.maximum(found[:, :-1] - use[:, :-1], 0.0)
    assert (came >= 0).all()
    # 6, less 0.2 a day over 21 days of supply and half a review's use
    assert 0.8 < found[:, 100:].mean() < 2.5
