"""Does the renewal baseline behave as lives must, on worlds and on a single pair?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearLog, wear_log
from solespan.forecast.dates.models.renewal import renewal
from solespan.synthetic_data import shop_world

HORIZON_DAYS = 1826
AS_OF = pd.Timestamp("2026-11-23")


def log_of_lives(lives: dict[str, list[int]], ages: dict[str, int]) -> WearLog:
    """Pairs of one wearer each, with lives in days one after the other, and the age now."""
    soles, pairs = [], []
    for pair, days in lives.items():
        pairs.append({"pair_id": pair, "wearer_id": "W" + pair, "construction": "goodyear_welted"})
        fitted = AS_OF - pd.Timedelta(days=ages[pair] + sum(days))
        for place, life in enumerate([*days, None]):
            removed = pd.NaT if life is None else fitted + pd.Timedelta(days=life)
            soles.append(
                {
                    "sole_id": f"{pair}-{place}",
                    "pair_id": pair,
                    "fitted_on": fitted,
                    "removed_on": removed,
                    "material": "veg_tan_leather",
                    "nominal_thickness_mm": 5.0,
                }
            )
            fitted = removed
    return wear_log(pairs=pd.DataFrame(pairs), soles=pd.DataFrame(soles))


def medians(lives: dict[str, list[int]], ages: dict[str, int]) -> pd.Series:
    return renewal(log_of_lives(lives, ages), AS_OF, HORIZON_DAYS).days.median(axis=1)


def test_one_pair_with_one_sole_leans_on_the_prior():
    said = renewal(log_of_lives({"A": []}, {"A": 100}), AS_OF, HORIZON_DAYS).days
    assert said.shape == (1, 256)
    assert ((said >= 0) & (said <= HORIZON_DAYS)).all(axis=None)
    assert 100 < said.median(axis=1)["A"] < 1200


def test_a_pair_that_gets_through_soles_faster_comes_sooner():
    said = medians({"A": [300] * 4, "B": [600] * 4, "C": [900] * 4}, dict.fromkeys("ABC", 100))
    assert said["A"] < said["B"] < said["C"]
    assert abs(said["A"] - 200) < 80


def test_an_older_sole_comes_sooner_than_a_younger_one():
    said = medians({"A": [600] * 3, "B": [600] * 3}, {"A": 500, "B": 50})
    assert said["A"] < said["B"]


def test_a_longer_silence_makes_a_customer_less_likely_to_be_one():
    log = log_of_lives({"A": [400] * 4, "B": [400] * 4}, {"A": 100, "B": 1500})
    said = renewal(log, AS_OF, HORIZON_DAYS).still_customer
    assert said["A"] > 0.8
    assert said["B"] < 0.3


@pytest.mark.slow
def test_hand_overs_of_silent_shops_lie_where_lives_say():
    """Pooled over shops: shares handed over by the stated quantiles, of customers who stay."""
    parts = []
    for seed in range(21, 27):
        drawn = shop_world("silent_shop", seed)
        said = renewal(wear_log(**drawn.frames), drawn.as_of, HORIZON_DAYS)
        truth = drawn.hidden_pairs.set_index("pair_id").loc[said.days.index]
        days = (truth["next_hand_over_on"] - drawn.as_of).dt.days.fillna(HORIZON_DAYS).to_numpy()
        reached = (said.days.to_numpy() <= days[:, None]).mean(axis=1)
        parts.append(
            pd.DataFrame(
                {
                    "reached": reached,
                    "gone": truth["gone"].to_numpy(),
                    "still": said.still_customer.to_numpy(),
                }
            )
        )
    rows = pd.concat(parts)
    reached = rows.loc[~rows["gone"], "reached"]
    for share in (0.25, 0.5, 0.75):
        assert np.mean(reached <= share) == pytest.approx(share, abs=0.09)
    assert rows["still"].mean() == pytest.approx(1.0 - rows["gone"].mean(), abs=0.08)
    likely = rows["still"] > 0.5
    assert rows.loc[likely, "gone"].mean() < 0.25 < rows.loc[~likely, "gone"].mean()
