"""Are owners who follow the send-by date told the truth, and not that their forecasts failed?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import Backtest, WearFit, WearModel, backtest
from tests.recovery.followers import START, Followers

pytestmark = pytest.mark.slow
WEARERS, SEEDS = 30, (1, 2)
LOOKED_FROM = [START + pd.Timedelta(days=d) for d in range(390, 1100, 91)]


@pytest.fixture(scope="module")
def fit() -> WearFit:
    """A fit to owners of the same kind who have handed nothing over yet."""
    learnt_on = START + pd.Timedelta(days=600)
    log = Followers(wearers=WEARERS, seed=101, follows=False).live().until(learnt_on)
    return WearModel(log, learnt_on).fit()


def told(fit: WearFit, seed: int, *, measured: bool) -> tuple[np.ndarray, Backtest]:
    owners = Followers(wearers=WEARERS, seed=seed, measured=measured)
    log = owners.live(fit)
    return np.array(owners.hand_overs), backtest(log, LOOKED_FROM)


def test_where_pairs_are_measured_as_they_are_handed_over_the_truth_is_told(fit):
    runs = [told(fit, seed, measured=True) for seed in SEEDS]
    true = (np.concatenate([spare for spare, _ in runs]) <= 0.0).mean()
    past, looked_at = np.sum([back.hand_overs for _, back in runs], axis=0)
    assert looked_at > 250
    error = np.sqrt(true * (1.0 - true) / looked_at)
    assert past / looked_at == pytest.approx(true, abs=2.0 * error)
    assert past / looked_at <= 0.12 + 2.0 * error
    for _, back in runs:
        assert (back.rows["kind"] != "resoled").all()
        assert back.past_limit == (0, 0), "too many were handed over before an earlier date"


def test_where_nobody_measures_it_says_so_and_calls_no_early_hand_over_due(fit):
    _, back = told(fit, SEEDS[0], measured=False)
    assert (back.rows["kind"] != "resoled").all()
    assert back.past_limit == (0, 0)
    assert "Measure each pair as you hand it over" in " ".join(back.sentences())
