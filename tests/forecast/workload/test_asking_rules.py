"""Is nobody asked about a young sole, before its 10 % day, or where nothing is known of a pair?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearModel, forecast, wear_log
from solespan.forecast.backtesting.asked_look_back import asked_pairs, proved_due
from solespan.forecast.workload.asking_rules import (
    FACTS,
    LEFT_OUT,
    asking_rules,
    ended_lives,
    facts_of_log,
    shortest_lives,
)
from solespan.forecast.workload.known_log import known_log
from solespan.forecast.workload.levelling import level
from solespan.synthetic_data import shop_world
from tests.quick import some_quick

DAY = pd.Timestamp("2026-06-15")
NO_LIVES = np.zeros(0)
SHOPS = [
    (name, seed) for seed in (3, 5) for name in ("silent_shop", "mixed_shop_10", "mixed_shop_50")
]


def facts(**more: object) -> pd.DataFrame:
    plain = {
        "pair_id": "a",
        "fitted_on": DAY - pd.Timedelta(days=400),
        "material": "oak_bark_leather",
        "nominal_thickness_mm": 5.0,
        "limit_mm": np.nan,
        "seen": True,
        "known": True,
    }
    return pd.DataFrame([plain | more], columns=list(FACTS))


def why(ask_in: int = 30, lives: np.ndarray = NO_LIVES, send_by: int = 30, **more: object) -> str:
    dates = {"due_p10": DAY + pd.Timedelta(days=31), "send_by": DAY + pd.Timedelta(days=send_by)}
    said = pd.DataFrame([{"pair_id": "a"} | dates])
    rules = asking_rules(said, facts(**more), lives)
    day = np.array([DAY + pd.Timedelta(days=ask_in)]).astype("datetime64[D]")
    return str(rules.left_out(day)[0])


def ago(days: int) -> pd.Timestamp:
    return DAY - pd.Timedelta(days=days)


def test_each_rule_has_its_reason():
    assert why() == ""
    assert why(known=False) == "unknown"
    assert why(fitted_on=ago(69)) == "young", "a hundred days are the least for oak of 5 mm"
    assert why(fitted_on=ago(70)) == ""
    assert why(ask_in=29) == "early"
    assert why(ask_in=29, send_by=20) == "", "a shop of less risk asks sooner"
    assert why(pair_id="other") == "unknown", "a pair without facts"


def test_the_shops_own_soles_say_how_short_a_life_is_believable_where_nobody_looked():
    lives = np.linspace(300, 900, 40)
    young = {"fitted_on": ago(200)}
    assert why(lives=lives, seen=False, **young) == "young"
    assert why(lives=lives, seen=True, **young) == "", "a reading says more than other soles"
    assert why(lives=lives[:10], seen=False, **young) == "", "ten soles say too little"


def test_thicker_and_harder_soles_live_longer_at_least():
    soles = pd.concat([facts(), facts(nominal_thickness_mm=8.0), facts(material="rubber")])
    days = shortest_lives(soles, NO_LIVES)
    assert days[0] == 100
    assert days[0] < days[1]
    assert days[0] < days[2]


@pytest.mark.parametrize("shop", some_quick(SHOPS, every=6))
def test_no_pair_of_a_random_shop_is_asked_against_the_rules(shop):
    """Checked from the log alone, by other means than the rules use."""
    name, seed = shop
    drawn = shop_world(name, seed, n_pairs=40)
    log = wear_log(**drawn.frames)
    day = drawn.as_of - pd.Timedelta(days=365)
    known = known_log(log, day)
    said = forecast(WearModel(known, day).fit(), known, day)
    asked = asked_pairs(known, said, day)
    main = said[(said["foot"] == "pair") & (said["point"] == "ball")].set_index("pair_id")
    for pair_id, ask_on in asked.itertuples(index=False):
        soles = known.soles[known.soles["pair_id"] == pair_id].sort_values("fitted_on")
        newest = soles.iloc[-1]
        assert (ask_on - newest["fitted_on"]).days >= 60
        assert ask_on >= main.loc[pair_id, "due_p10"] - pd.Timedelta(days=1)
        checks = known.checks[known.checks["pair_id"] == pair_id]
        told = (
            len(soles) > 1
            or (checks["checked_on"] > newest["fitted_on"]).any()
            or (known.wear_days["pair_id"] == pair_id).any()
            or known.pairs.set_index("pair_id")["wears_per_week"].notna()[pair_id]
        )
        assert told, "it leans on nothing of that pair"
    n, due = proved_due(log, known, said, day)
    assert 0 <= due <= n == len(asked)


def test_one_pair_and_a_shop_without_a_past():
    one = wear_log(
        pairs=pd.DataFrame([{"pair_id": "a", "wearer_id": "w", "construction": "blake"}]),
        soles=pd.DataFrame(
            [{"sole_id": "s", "pair_id": "a", "fitted_on": DAY, "material": "rubber",
              "nominal_thickness_mm": 5.0}]
        ),
    )  # fmt: skip
    told = facts_of_log(one)
    assert (told["known"].tolist(), told["seen"].tolist()) == ([False], [False])
    assert len(ended_lives(one.soles)) == 0
    assert set(LEFT_OUT) == {"unknown", "young", "early"}


def test_levelling_moves_nobody_before_the_earliest_day():
    rng = np.random.default_rng(7)
    send_by = rng.uniform(120, 300, 200)
    earliest = np.maximum(send_by - rng.uniform(0, 60, 200), 0.0)
    minutes = np.full(200, 130.0)
    room = np.full(52, 900.0)
    free = level(send_by, rng.random(200), minutes, np.zeros(52), room)
    bound = level(send_by, rng.random(200), minutes, np.zeros(52), room, earliest_day=earliest)
    moved = bound.moved_weeks > 0
    assert free.moved_weeks.sum() > bound.moved_weeks.sum() > 0
    assert (bound.week[moved] * 7 >= earliest[moved]).all()
    assert (bound.week * 7 <= send_by).all()
