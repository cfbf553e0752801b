"""Does stock run out as often as promised, in a stock room that is simulated on its own?"""

from __future__ import annotations

import numpy as np
import pytest

from solespan.forecast.bench.item_use import (
    BULK_USES,
    PAIR_DM2,
    item_shares,
    item_use,
    pairs_of_leather,
)
from solespan.forecast.bench.stock import Supply, advise, learnt_supply
from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import WORKS
from solespan.synthetic_data.shop.stock_room import ITEM_MIXES, ItemMix, draw_levels, simulate_stock

SURE = 1e9  # weights so great that the share is known
YEARS = 2000
# where one world shares a level or looks often, many worlds or many orders are needed
WORLDS = {
    "a doubtful year": (4000, 10),
    "looked at daily": (500, 200),
    "looked at each quarter": (300, 30),
}


def jobs_of(mix: ItemMix, rng: np.random.Generator) -> np.ndarray:
    counts = np.zeros((YEARS, 365, len(WORKS)), int)
    counts[:, :, 0] = rng.poisson(draw_levels(mix, YEARS, rng)[:, None], (YEARS, 365))
    return counts


@pytest.mark.slow
@pytest.mark.parametrize("name", ITEM_MIXES)
def test_orders_come_too_late_as_often_as_promised(name):
    mix, place = ITEM_MIXES[name], list(ITEM_MIXES).index(name)
    rng = np.random.default_rng([17, place])
    use = "cement" if mix.quantity > 1 else "sole"
    weights = SURE * np.array([mix.share, 1 - mix.share])
    supply = Supply(
        mix.supply_days, mix.supply_days_sd, mix.minimum_order, mix.service_level,
        mix.review_days, mix.pack_size,
    )  # fmt: skip
    told = advise(item_use(jobs_of(mix, rng), use, weights, 0, rng), 0.0, 0.0, supply, seed=place)
    assert told.stock_out_chance <= 1 - mix.service_level + 1e-9
    worlds, orders = WORLDS.get(name, (600, 30))
    seen = simulate_stock(
        mix, told.reorder_point, np.random.default_rng([18, place]),
        worlds=worlds, orders=orders,
    )  # fmt: skip
    assert seen == pytest.approx(told.stock_out_chance, abs=0.01)


def test_a_share_of_jobs_is_thinned_and_not_divided():
    """A thinned Poisson count is Poisson: variance and mean are equal, not a third of it."""
    rng = np.random.default_rng(3)
    counts = np.zeros((4000, 30, len(WORKS)), int)
    counts[:, :, WORKS.index("full_sole")] = rng.poisson(0.5, (4000, 30))
    taken = item_use(counts, "sole", SURE * np.array([0.3, 0.7]), 0, rng).sum(axis=1)
    assert taken.mean() == pytest.approx(0.5 * 30 * 0.3, rel=0.05)
    assert taken.var() == pytest.approx(taken.mean(), rel=0.1)
    assert not (taken % 1).any(), "whole pairs"
    assert item_use(counts, "welt", np.array([1.0]), 0, rng).sum() == 0, "no job is a rewelt"
    assert item_use(counts, "sole", np.array([0.0, 5.0]), 0, rng).sum() == 0


def test_shares_go_from_what_fits_to_what_was_taken():
    before = item_shares([0.5, 0.3], [0, 0])
    assert before / before.sum() == pytest.approx([0.5, 0.3, 0.2])
    after = item_shares([0.5, 0.3], [0, 990])
    assert (after / after.sum())[1] == pytest.approx(0.993, abs=0.001)
    with pytest.raises(BadHorizon):
        item_shares([0.8, 0.4], [0, 0])


@pytest.mark.parametrize("level", [0.8, 0.9, 0.99])
def test_orders_are_whole_pieces_and_a_higher_service_level_never_orders_later(level):
    rng = np.random.default_rng(4)
    use = rng.poisson(0.4, (400, 365)).astype(float)
    plain = advise(use, 2.0, 0.0, Supply(60, 10, service_level=level, pack_size=9))
    assert plain.order_now > 0
    assert plain.order_now % 9 == 0
    assert plain.reorder_point % 1 == 0
    more = advise(use, 2.0, 0.0, Supply(60, 10, service_level=level + 0.005, pack_size=9))
    assert more.reorder_point >= plain.reorder_point
    assert advise(use, 2.0, plain.order_now, Supply(60, 10, service_level=level)).order_now == 0
    nothing = advise(np.zeros((9, 365)), 0.0, 0.0, Supply(60, 10))
    assert (nothing.order_now, nothing.stock_out_chance) == (0, 0)


def test_leather_gives_whole_pairs_and_refuses_a_scrap():
    assert pairs_of_leather(120, "sole") == 10
    assert pairs_of_leather(120, "sole", yield_share=0.65) == 9
    assert pairs_of_leather(16, "sole", 1.0, pair_dm2=8) == 2
    assert not BULK_USES & PAIR_DM2.keys()
    for bad in ((5, "sole"), (0, "sole"), (100, "thread"), (100, "sole", 1.2)):
        with pytest.raises(BadHorizon):
            pairs_of_leather(*bad)


def test_supply_times_are_learnt_from_orders_that_came():
    assert learnt_supply(280, 40, np.zeros(0)) == (280, 40)
    days, spread = learnt_supply(280, 40, np.full(30, 200.0))
    assert 200 < days < 215
    assert spread < 40
