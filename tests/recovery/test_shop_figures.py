"""Do the figures of silent shops say what they are called, on rows whose answers are known?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.synthetic_data import shop_world
from tests.recovery.replay import lives_forecaster, model_forecaster, replay, truth_forecaster
from tests.recovery.shop_figures import auc, due_by, figures
from tests.recovery.shops import HORIZON_DAYS, QUANTILES, WITHIN_DAYS, score_shop


def rows_of_right_forecasts(n: int, rng: np.random.Generator) -> pd.DataFrame:
    """Pairs whose lives truly are draws of what both forecasters say, the model knowing more."""
    middle = rng.lognormal(6.3, 0.9, n)
    known = np.log(middle) + rng.normal(0.0, 0.3, n)
    actual = np.exp(known + rng.normal(0.0, 0.2, n))
    levels = (np.arange(200) + 0.5) / 200
    from scipy.special import ndtri

    out = {"actual": np.minimum(actual, HORIZON_DAYS)}
    for name, at, sd in (
        ("model", known, 0.2),
        ("renewal", np.log(middle), np.hypot(0.3, 0.2)),
        ("plain", np.log(middle), np.hypot(0.3, 0.3)),
    ):
        days = np.minimum(np.exp(at[:, None] + sd * ndtri(levels)), HORIZON_DAYS)
        out |= {f"{name}_{k}": np.quantile(days, q, axis=1) for k, q in QUANTILES.items()}
        out[f"{name}_inside"] = (days < HORIZON_DAYS).mean(axis=1)
        out |= {f"{name}_within_{d}": (days <= d).mean(axis=1) for d in WITHIN_DAYS}
        out[f"crps_{name}"] = sd * np.exp(at)
    frame = pd.DataFrame(out)
    frame["send_by"] = frame["model_p10"]
    frame["cluster"] = [f"w{i // 3}" for i in range(n)]
    return frame.assign(
        gone=False, logs=False, band="watch", still=1.0, crps_line=2.0, crps_rate=2.0,
        crps_alone=np.nan,
    )  # fmt: skip


@pytest.fixture(scope="module")
def right() -> pd.DataFrame:
    return rows_of_right_forecasts(6000, np.random.default_rng(3))


def test_an_order_is_the_chance_that_a_due_pair_comes_first():
    score = np.array([0.9, 0.8, 0.3, 0.3, 0.1])
    happened = np.array([True, False, True, False, False])
    # of six couples: 3 right with the first, 1 right and 1 even with the second
    assert auc(score, happened) == pytest.approx((3 + 1 + 0.5) / 6)
    assert auc(score, happened, np.array([2, 0, 0, 1, 1])) == 1.0
    assert np.isnan(auc(score, np.zeros(5, bool)))


@pytest.mark.parametrize(("name", "share"), QUANTILES.items())
def test_shares_due_by_stated_days_are_the_stated_ones_also_beyond_the_horizon(
    right: pd.DataFrame, name: str, share: float
):
    assert (right["model_inside"] < 1).any()
    assert due_by(right, "model", name).mean() == pytest.approx(share, abs=0.015)
    assert due_by(right, "renewal", name).mean() == pytest.approx(share, abs=0.015)


def test_right_forecasts_hold_what_they_promise_and_knowing_more_orders_better(
    right: pd.DataFrame,
):
    found = figures(right)
    assert found["80 % interval holds"].value == pytest.approx(0.80, abs=0.02)
    assert found["past the limit on the send-by day"].value == pytest.approx(0.10, abs=0.015)
    assert found["AUC 365 days, model less renewal"].value > 0.02
    assert found["model over renewal"].value < 0.8


def test_who_has_left_is_no_part_of_the_scores(right: pd.DataFrame):
    left = right.assign(gone=True, actual=1.0, crps_model=9e9, still=0.1)
    both = figures(pd.concat([right, left], ignore_index=True))
    alone = figures(right)
    assert both["CRPS of the model"] == alone["CRPS of the model"]
    assert both["due by the 10% day"] == alone["due by the 10% day"]
    assert both["gone: share of pairs"].value == pytest.approx(0.5)
    assert both["gone: AUC of lives"].value == 1.0


def test_those_who_log_are_set_beside_the_same_alone(right: pd.DataFrame):
    some = right.assign(logs=np.arange(len(right)) % 2 == 0)
    some["crps_alone"] = np.where(some["logs"], some["crps_model"] / 2.0, np.nan)
    found = figures(some)
    assert found["loggers: model over model alone"].value == pytest.approx(2.0)
    assert found["silent: CRPS of the model"].rows == len(right) // 2


def test_a_scored_shop_has_a_row_a_pair_with_every_forecaster():
    scored = score_shop("mixed_shop_10", 5, n_pairs=60)
    rows = scored.pairs
    assert not rows["pair_id"].duplicated().any()
    crps = rows.filter(like="crps_").drop(columns="crps_alone")
    assert set(crps) == {f"crps_{f}" for f in ("model", "renewal", "plain", "line", "rate")}
    assert crps.notna().all(axis=None)
    assert (rows["crps_alone"].notna() == rows["logs"]).all()
    assert rows["actual"].between(-4000, HORIZON_DAYS).all()
    assert set(scored.workload) == {"true", "model", "model_p10", "model_p90", "renewal"}


@pytest.fixture(scope="module")
def shop():
    return shop_world("silent_shop", 8, n_pairs=100)


@pytest.mark.slow
def test_who_knows_the_day_tells_near_it_once_and_nobody_who_has_left(shop):
    told = replay(shop, truth_forecaster(shop), years=1.5)
    shares = told.shares()
    assert len(told.soles) > 15
    assert shares["near"] > 0.8
    assert shares["twice"] == 0.0
    assert shares["to those gone"] < 0.1
    assert (told.notices["told_on"] <= shop.as_of).all()
    assert sum(shares[k] for k in ("near", "early", "late", "never")) == pytest.approx(1.0)


@pytest.mark.slow
def test_a_replay_asks_any_forecaster(shop):
    lives = replay(shop, lives_forecaster(), years=0.5)
    assert len(lives.notices) > 0
    assert replay(shop, model_forecaster(), years=0.2).shares().keys() == lives.shares().keys()
