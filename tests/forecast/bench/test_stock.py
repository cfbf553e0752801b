"""Do order points and the single order agree with textbook arithmetic?"""

from __future__ import annotations

import numpy as np
import pytest

from solespan.forecast.bench.stock import Supply, advise, newsvendor, reorder_point
from solespan.forecast.errors import BadHorizon


def test_the_newsvendor_stocks_up_to_the_critical_ratio():
    """Own arithmetic in the form of Silver, Pyke and Thomas (2017), section 9.2.

    Demand normal 900 and 122, short 2 each, over 1 each (from memory of a worked example of that
    kind): ratio 2/3, z = 0.4307, so 952.55.
    """
    assert newsvendor(900, 122, 2.0, 1.0) == pytest.approx(952.55, abs=0.01)
    assert newsvendor(900, 122, 1.0, 1.0) == pytest.approx(900)


def test_the_reorder_point_is_lead_demand_and_safety_stock():
    """Mean d L, SD sqrt(L s^2 + d^2 sL^2); with constant supply time sqrt(L) s.

    Silver, Pyke and Thomas (2017), section 6.10; numbers worked by hand: d 100, s 20, L 4, 95 %:
    400 + 1.64485 x 40 = 465.79; with sL 1: SD sqrt(1600 + 10000) = 107.703, so 577.16.
    """
    sure = Supply(4, 0, service_level=0.95, review_days=1)
    assert reorder_point(100, 20, sure)[0] == pytest.approx(465.79, abs=0.01)
    unsure = Supply(4, 1, service_level=0.95, review_days=1)
    point, safety = reorder_point(100, 20, unsure)
    assert point == pytest.approx(577.16, abs=0.01)
    assert safety == pytest.approx(177.16, abs=0.01)


def test_simulated_years_of_independent_days_give_the_same_point_as_the_formula():
    rng = np.random.default_rng(1)
    use = rng.normal(100, 20, (20_000, 8))
    told = advise(use, 1000.0, 0.0, Supply(4, 0, service_level=0.95, review_days=1))
    assert told.reorder_point == pytest.approx(465.79, abs=1.5)
    assert told.order_now == 0


def test_stock_at_its_order_point_is_ordered_at_least_in_the_minimum():
    use = np.full((50, 100), 1.0)
    supply = Supply(10, 0, minimum_order=40, service_level=0.95, review_days=7)
    low = advise(use, 5.0, 0.0, supply)
    assert (low.order_now, low.order_in_days, low.runs_out_chance) == (40, 0, 1)
    high = advise(use, 60.0, 0.0, supply)
    assert high.order_now == 0
    assert (
        high.order_in_days == 43
    )  # 60 - 44 = 16, which ten days and a review of seven less one use
    assert advise(use, 0.0, 60.0, supply).order_now == 0, "what is on its way counts"


def test_a_shared_year_needs_more_safety_than_independent_days():
    rng = np.random.default_rng(2)
    level = rng.lognormal(0, 0.3, (4000, 1))
    shared = rng.poisson(1.0 * level, (4000, 120)).astype(float)
    apart = rng.poisson(np.mean(level), (4000, 120)).astype(float)
    supply = Supply(90, 0)
    assert advise(shared, 0, 0, supply).safety_stock > 2 * advise(apart, 0, 0, supply).safety_stock


@pytest.mark.parametrize("bad", [{"days": -1}, {"days": 1, "service_level": 1.0}])
def test_a_supply_that_cannot_be_is_refused(bad):
    with pytest.raises(BadHorizon):
        Supply(**bad)
