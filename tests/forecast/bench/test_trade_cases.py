"""Does a quote say of forty pairs what a bench says: works, wear days, minutes, price, warnings?

Every case was worked out by hand from tables of the trade: common practice, no source. Wear days
stand as the arithmetic: (mm after - limit) / rate per wear day, less what was left.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.bench.findings import LEADS_TO, PARTS, PairState, findings_of, layers_of
from solespan.forecast.bench.minutes import fit_minutes
from solespan.forecast.bench.quoting import needs_of, quote

# The shop's list, and what each work uses.
PRICES = {
    "full_sole": 11000, "half_sole": 6500, "top_piece": 2800, "toe_plate": 2500, "rewelt": 20000,
    "heel_block": 4500, "guard": 3300, "toe_piece": 2000, "restitch": 2000, "shank": 3900,
    "sock": 900,
}  # fmt: skip
USES = {
    "full_sole": {"sole": 1, "top_piece": 1, "thread": 8.5, "cement": 60},
    "half_sole": {"half_sole": 1, "thread": 5.5, "cement": 30},
    "rewelt": {"sole": 1, "top_piece": 1, "welt": 1.3, "thread": 14.5, "cement": 60},
    "top_piece": {"top_piece": 1, "cement": 10},
    "heel_block": {"top_piece": 1, "cement": 20},
    "guard": {"cement": 25},
    "toe_piece": {"cement": 10},
    "restitch": {"thread": 2},
    "shank": {"cement": 10},
    "sock": {"cement": 10},
}
SEEN = dict.fromkeys(PARTS, "good")
OXFORD: dict[str, Any] = {
    "construction": "goodyear_welted",
    "material": "veg_tan_leather",
    "new_mm": 5.0,
    "thickness_mm": {"ball": 4.0, "heel": 5.0, "toe": 4.0},
    "rate_mm_per_wear_day": {"ball": 0.02, "heel": 0.02, "toe": 0.01},
    "parts": SEEN,
}
FULL, HALF, TOP, REWELT = "full_sole", "half_sole", "top_piece", "rewelt"
GUARD_ON = {"material": "rubber", "cover": "guard", "new_mm": 1.8}


def worn(ball: float = 2.0, heel: float = 5.0, toe: float = 4.0) -> dict[str, Any]:
    return {"thickness_mm": {"ball": ball, "heel": heel, "toe": toe}}


def said(**parts: str) -> dict[str, Any]:
    return {"parts": {**SEEN, **parts}}


# name: what differs from a sound Oxford; ways as works: (wear days bought, minutes, price); how
# many things must be seen before a price stands.
CASES: dict[str, tuple[dict[str, Any], dict[str, tuple[float, float, int]], int]] = {
    "a sound pair needs nothing": ({}, {}, 0),
    "a leather sole at its limit": (
        worn(),
        {FULL: ((5 - 2) / 0.02, 130, 11000), HALF: ((4.5 - 1.8) / 0.02, 70, 6500)}, 0,
    ),
    "half a millimetre early gives 25 days away": (
        worn(2.5),
        {FULL: (150 - 25, 130, 11000), HALF: (135 - 25, 70, 6500)}, 0,
    ),
    "told to book in, 50 days left": (
        {**worn(3.0), "band": "book in"},
        {FULL: (150 - 50, 130, 11000), HALF: (135 - 50, 70, 6500)}, 0,
    ),
    "a hole at the ball, heel sound": (
        {**worn(1.5), "hole": True},
        {FULL: (150, 130, 11000), HALF: (135, 70, 6500)}, 0,
    ),
    "a hole, and the heel is done too": (
        {**worn(1.5, heel=2.2), "hole": True},
        {FULL: (150, 130, 11000), f"{HALF} {TOP}": (135, 70 + 20, 6500 + 2800)}, 0,
    ),
    "a heel with 60 days left holds a half sole back": (
        worn(2.0, heel=3.2),
        {FULL: (150, 130, 11000), HALF: ((3.2 - 2) / 0.02, 70, 6500)}, 0,
    ),
    "the heel only": (worn(4.0, heel=2.2), {TOP: ((4 - 2) / 0.02 - 10, 20, 2800)}, 0),
    "the heel, and the ball comes soon after": (
        worn(2.8, heel=2.0), {TOP: ((2.8 - 2) / 0.02, 20, 2800)}, 0,
    ),
    "a worn toe": (
        worn(4.0, toe=2.2),
        {"toe_piece": (100 - 20, 20, 2000), FULL: (150 - 20, 130, 11000)}, 0,
    ),
    "a women's sole of 3.5 mm at 2.0 is not due": (
        {**worn(2.05), "new_mm": 3.5}, {}, 0,
    ),
    "a women's sole of 3.5 mm at 1.4": (
        {**worn(1.4), "new_mm": 3.5},
        {FULL: ((3.5 - 1.4) / 0.02, 130, 11000), HALF: ((3.5 - 1.4) / 0.02, 70, 6500)}, 0,
    ),
    "a boot of 6.4 mm": (
        {**worn(2.0), "new_mm": 6.4, "construction": "stitchdown"},
        {FULL: ((6 - 2) / 0.02, 130, 11000), HALF: (135, 70, 6500)}, 0,
    ),
    "a pit-tanned sole costs a fifth more": (
        {**worn(), "material": "oak_bark_leather"},
        {FULL: (150, 130, 13200), HALF: (135, 70, 6500)}, 0,
    ),
    "a closed channel takes a quarter of an hour": (
        {**worn(), "channel": "closed"},
        {FULL: (150, 145, 12100), HALF: (135, 70, 6500)}, 0,
    ),
    "a hand-welted pair": (
        {**worn(), "construction": "hand_welted"},
        {FULL: (150, 300, 24200), HALF: (135, 150, 6500)}, 0,
    ),
    "a hand-welted pair with a torn welt": (
        {**worn(), "construction": "hand_welted", **said(welt="broken")},
        {REWELT: (150, 480, 34000)}, 0,
    ),
    "a Norwegian pair": (
        {**worn(), "construction": "norwegian"},
        {FULL: (150, 160, 13750), HALF: (135, 70, 6500)}, 0,
    ),
    "a Blake pair": (
        {**worn(), "construction": "blake"},
        {FULL: (150, 120, 10450), HALF: (135, 70, 6500)}, 0,
    ),
    "a Blake rapid pair": (
        {**worn(), "construction": "blake_rapid"},
        {FULL: (150, 130, 11000), HALF: (135, 70, 6500)}, 0,
    ),
    "a cemented leather sole": (
        {**worn(1.6), "construction": "cemented", "new_mm": 4.0},
        {FULL: ((4 - 1.6) / 0.02, 90, 8250), HALF: ((4 - 1.6) / 0.02, 45, 4875)}, 0,
    ),
    "a cemented foam sole takes no half": (
        {**worn(3.0, toe=6.0), "construction": "cemented", "material": "microcellular",
         "new_mm": 9.0},
        {FULL: ((6 - 2) / 0.02, 60, 6600)}, 0,
    ),
    "lugs worn flat on a boot of 10 mm": (
        {**worn(7.0, toe=9.0), "material": "lug_rubber", "new_mm": 10.0},
        {FULL: ((10 - 7) / 0.02, 90, 10450)}, 0,
    ),
    "a wedge of crepe": (
        {**worn(2.0, toe=6.0), "material": "crepe", "new_mm": 8.0},
        {FULL: ((6 - 2) / 0.02, 110, 9900)}, 0,
    ),
    "a full rubber sheet": (
        {**worn(1.5), "material": "rubber", "new_mm": 5.0, "cover": "full"},
        # the heel that stays holds the half sole back
        {FULL: ((5 - 1.5) / 0.02, 130, 11000), HALF: ((5 - 2) / 0.02, 70, 6500)}, 0,
    ),
    "a new guard of 1.8 mm is not due": (
        {**worn(1.8, toe=1.8), **GUARD_ON, "base": ("veg_tan_leather", 5.0, 4.8)}, {}, 0,
    ),
    "a guard worn through over good leather": (
        {**worn(0.4, toe=1.4), **GUARD_ON, "base": ("veg_tan_leather", 5.0, 4.8)},
        # the leather wears twice as fast as the guard's rubber
        {"guard": ((1.8 - 0.4) / 0.02, 30, 3300), FULL: ((5 - 2) / 0.04, 130, 11000)}, 0,
    ),
    "a guard worn through over thin leather": (
        {**worn(0.4, toe=1.4), **GUARD_ON, "base": ("veg_tan_leather", 5.0, 2.2)},
        {FULL: ((5 - 2) / 0.04, 130, 11000)}, 0,
    ),
    "a guard lifted off, leather sound": (
        {**worn(1.2, toe=1.4), **GUARD_ON, "base": ("veg_tan_leather", 5.0, 4.0),
         **said(guard="broken")},
        {"guard": ((1.8 - 0.4) / 0.02 - (1.2 - 0.4) / 0.02, 30, 3300),
         FULL: (75 - 40, 130, 11000)}, 0,
    ),
    "a half sole over the old waist at its limit": (
        {**worn(1.8), "cover": "half", "new_mm": 4.5},
        {FULL: (150, 130, 11000), HALF: (135, 70, 6500)}, 0,
    ),
    "a torn welt, and the sole is sound": (
        said(welt="broken"), {REWELT: (150 - 100, 190, 20000)}, 0,
    ),
    "a sole due on a worn welt": (
        {**worn(), **said(welt="worn")}, {REWELT: (150, 190, 20000)}, 0,
    ),
    "a welt that has had three seams": (
        {**worn(), "seams": 3, "resoles": 2},
        {FULL: (150, 130, 11000), HALF: (135, 70, 6500), REWELT: (150, 190, 20000)}, 1,
    ),
    "the ninth sole": (
        {**worn(), "seams": 9, "resoles": 8},
        {FULL: (150, 130, 11000), HALF: (135, 70, 6500), REWELT: (150, 190, 20000)}, 2,
    ),
    "a torn welt on Blake has none to replace": (
        {**worn(), "construction": "blake", **said(welt="broken")},
        {FULL: (150, 120, 10450)}, 1,
    ),
    "an open seam in thick leather": (
        said(stitching="broken"), {"restitch": (100, 25, 2000)}, 0,
    ),
    "a broken shank with a sound sole": (said(shank="broken"), {"shank": (100, 45, 3900)}, 0),
    "a broken shank, and the sole is due": (
        # with the sole off the shank takes 10 minutes and a seventh of its price
        {**worn(), **said(shank="broken")}, {f"{FULL} shank": (150, 130 + 10, 11000 + 557)}, 0,
    ),
    "a hole with wet cork: the price stands only after opening": (
        {**worn(1.5), "hole": True, **said(cork="wet")}, {FULL: (150, 130, 11000)}, 1,
    ),
    "broken uppers: ask the owner first": (
        {**worn(), **said(uppers="broken")},
        {FULL: (150, 130, 11000), HALF: (135, 70, 6500)}, 1,
    ),
    "a lift of the heel is cut": (
        said(heel_block="broken"), {"heel_block": (100, 45, 4500)}, 0,
    ),
    "a torn lining at the foot bed": (said(lining="broken"), {"sock": (0, 8, 900)}, 0),
    "a combination heel with its rubber gone": (
        {**worn(4.0, heel=2.0), **said(top_piece="broken")}, {TOP: (100, 20, 2800)}, 0,
    ),
}  # fmt: skip


def state(changes: dict[str, Any]) -> PairState:
    return PairState(**{**OXFORD, **changes})


@pytest.fixture(scope="module")
def minutes():
    nobody = {"work": FULL, "construction": "blake", "bench_minutes": np.nan, "worker": None}
    return fit_minutes(pd.DataFrame([nobody]))


def test_there_are_forty_cases():
    assert len(CASES) >= 40


@pytest.mark.parametrize("name", CASES)
def test_a_quote_says_what_a_bench_says(name, minutes):
    changes, wanted, depends = CASES[name]
    pair = state(changes)
    found = {" ".join(sorted(way.works)): way for way in quote(pair, minutes, PRICES)}
    assert found.keys() == {" ".join(sorted(works.split())) for works in wanted}
    for works, (days, hands_on, price) in wanted.items():
        way = found[" ".join(sorted(works.split()))]
        assert way.wear_days_bought == pytest.approx(days), works
        assert way.minutes == pytest.approx(hands_on), works
        assert way.price_minor == price, works
        for use in {use for work in way.works for use in USES[work]}:
            assert way.uses[use] == sum(USES[work].get(use, 0) for work in way.works), use
        assert way.wear_days_low <= way.wear_days_bought <= way.wear_days_high
    assert len(needs_of(pair).depends_on) == depends


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("seen", ["good", "worn", "broken", "missing", "wet", "not seen"])
@pytest.mark.parametrize("ball", [2.0, 4.0])
def test_every_part_in_every_state_leads_somewhere(part, seen, ball):
    pair = state({**worn(ball), **said(**{part: seen})})
    (found,) = [one for one in findings_of(pair) if one.part == part]
    assert found.leads_to in LEADS_TO
    assert found.why
    assert (found.work is not None) == (found.leads_to == "work") or found.leads_to == "open first"


def test_a_simple_pair_has_its_layers_without_more_words():
    layers = {layer.part: layer for layer in layers_of(state({}))}
    assert list(layers)[:2] == ["sock", "insole"]
    assert {"welt", "filler", "shank", "outsole", "top_piece"} <= layers.keys()
    assert (layers["outsole"].new_mm, layers["outsole"].limit_mm) == (5.0, 2.0)
    guarded = layers_of(state({**GUARD_ON, "base": ("oak_bark_leather", 5.5, 4.8)}))
    below, above = [x for x in guarded if x.part in ("outsole", "guard")]
    assert (below.material, below.new_mm, above.limit_mm) == ("oak_bark_leather", 5.5, 0.4)
    assert "welt" not in {x.part for x in layers_of(state({"construction": "blake"}))}
