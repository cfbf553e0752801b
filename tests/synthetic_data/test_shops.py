"""Do the worlds of shops with silent customers keep to the contract, and to their own truth?"""

from __future__ import annotations

import functools

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import wear_log
from solespan.forecast.frames import TABLES
from solespan.synthetic_data import SHOP_WORLDS, ShopWorld, shop_world
from tests.quick import some_quick

YEAR = pd.Timedelta(days=365)


@functools.cache
def shop(name: str, seed: int = 3, n_pairs: int | None = None) -> ShopWorld:
    return shop_world(name, seed, n_pairs=n_pairs)


@functools.cache
def current(name: str) -> pd.DataFrame:
    """Pairs with a sole on: hidden_pairs beside the days until their true due day."""
    drawn = shop(name)
    due = drawn.hidden_due[(drawn.hidden_due["foot"] == "pair")]
    due = due[due["point"] == "ball"].assign(days=lambda d: (d["due_on"] - drawn.as_of).dt.days)
    return drawn.hidden_pairs.merge(due, on="pair_id")


@pytest.mark.parametrize("name", some_quick(SHOP_WORLDS, every=6))
def test_every_shop_keeps_to_the_contract_and_tells_nothing_of_the_future(name):
    drawn = shop(name)
    log = wear_log(**drawn.frames)
    assert list(drawn.frames) == list(TABLES)
    for table in TABLES.values():
        frame = drawn.frames[table.name]
        assert list(frame.columns) == [c.name for c in table.stored]
        for column in table.stored:
            if column.kind == "date" and column.name != "promised_on":
                assert not (frame[column.name] > drawn.as_of).any(), column.name
    assert (log.soles["removed_on"].fillna(drawn.as_of) >= log.soles["fitted_on"]).all()
    order = log.soles.sort_values(["pair_id", "fitted_on"])
    before = order.groupby("pair_id")["removed_on"].shift()
    assert not (order["fitted_on"] < before).any()


@pytest.mark.parametrize(
    "name", some_quick(["silent_shop", "mixed_shop_10", "solo_thumb"], every=3)
)
def test_the_same_seed_gives_the_same_shop(name):
    first, second = (shop_world(name, 3, n_pairs=20) for _ in range(2))
    for table in TABLES:
        pd.testing.assert_frame_equal(first.frames[table], second.frames[table])
    pd.testing.assert_frame_equal(first.hidden_pairs, second.hidden_pairs)
    assert first.truth != shop_world(name, 4, n_pairs=12).truth


def test_an_unknown_shop_is_refused_by_name():
    with pytest.raises(KeyError, match="silent_shop_young"):
        shop_world("no_such_shop", 1)


def test_silent_customers_log_nothing_and_many_have_left_unseen():
    drawn = shop("silent_shop")
    assert drawn.frames["wear_days"].empty
    pairs = drawn.hidden_pairs
    assert 250 <= len(pairs) <= 300
    assert 130 <= pairs["wearer_id"].nunique() <= 200
    assert 0.1 < pairs["gone"].mean() < 0.5
    jobs = drawn.frames["bench_jobs"].merge(pairs[pairs["gone"]], on="pair_id")
    assert (jobs["received_on"] <= jobs["gone_on"]).all()
    last = drawn.frames["soles"].sort_values("fitted_on").drop_duplicates("pair_id", keep="last")
    assert (
        last[last["pair_id"].isin(pairs.loc[pairs["gone"], "pair_id"])]["removed_on"].isna().all()
    )


def test_a_shop_knows_nothing_of_a_pair_before_it_was_known():
    drawn = shop("silent_shop")
    known = drawn.hidden_pairs.set_index("pair_id")["known_on"]
    jobs = drawn.frames["bench_jobs"]
    assert (jobs["received_on"] >= jobs["pair_id"].map(known)).all()
    soles = drawn.hidden_soles
    ours = soles["of_shop"]
    assert (soles.loc[ours, "fitted_on"] >= soles.loc[ours, "pair_id"].map(known)).all()
    assert (soles.loc[~ours, "handed_over_on"] == soles.loc[~ours, "pair_id"].map(known)).all()
    assert 0.02 < 1.0 - ours.mean() < 0.4


def test_each_hand_over_ends_a_sole_and_begins_one_a_few_days_to_weeks_later():
    drawn = shop("silent_shop")
    soles, jobs = drawn.frames["soles"], drawn.frames["bench_jobs"]
    ended = soles[soles["removed_on"].notna()]
    keys = set(zip(jobs["pair_id"], jobs["received_on"], strict=True))
    assert set(zip(ended["pair_id"], ended["removed_on"], strict=True)) <= keys
    back = jobs.merge(soles, left_on=["pair_id", "finished_on"], right_on=["pair_id", "fitted_on"])
    waits = (back["fitted_on"] - back["received_on"]).dt.days
    assert len(back) == jobs["finished_on"].notna().sum()
    assert waits.between(1, 100).all()


@pytest.mark.slow
def test_hand_overs_scatter_round_the_limit_and_some_come_with_a_hole():
    soles = pd.concat([shop("silent_shop", seed, 60).hidden_soles for seed in range(3, 8)])
    done = soles[soles["handed_over_on"].notna() & soles["due_on"].notna()]
    late = (done["handed_over_on"] - done["due_on"]).dt.days
    assert 0.15 < (late < 0).mean() < 0.6
    assert (late > 120).mean() > 0.05
    drawn = shop("silent_shop")
    removed = drawn.hidden_thickness.drop_duplicates(["sole_id", "foot"], keep="last")
    gone = drawn.frames["soles"].dropna(subset="removed_on")["sole_id"]
    thinnest = removed[removed["sole_id"].isin(gone)].groupby("sole_id")["thickness_mm"].min()
    assert 0.02 < (thinnest <= 0.0).mean() < 0.3
    assert 0.3 < thinnest.std() < 1.0


def test_a_faster_pace_or_a_thinner_sole_is_due_sooner():
    rows = current("silent_shop")
    rows = rows[rows["days"].fillna(1826) > 0]
    days = rows["days"].fillna(1826)
    assert np.corrcoef(np.log(rows["mean_pace_per_week"]), np.log(days))[0, 1] < -0.2
    thin = rows[["thickness_left_mm", "thickness_right_mm"]].min(axis=1) - rows["limit_mm"]
    assert (thin > 0).all()
    assert np.corrcoef(thin, np.log(days))[0, 1] > 0.4


def test_pace_lasts_over_the_soles_of_a_pair():
    """Lives of one pair resemble each other far more than those of the shop."""
    soles = shop("silent_shop").frames["soles"]
    life = np.log((soles["removed_on"] - soles["fitted_on"]).dt.days.dropna())
    within = life.groupby(soles["pair_id"]).std().dropna()
    assert within.median() < 0.6 * life.std()
    assert 0.3 < life.std() < 1.2


@pytest.mark.slow
def test_shares_of_soles_read_are_those_asked_for():
    def read_share(name: str) -> float:
        shops = [shop(name), shop(name, 4)]
        ended = sum(s.frames["soles"]["removed_on"].notna().sum() for s in shops)
        read = 0
        for s in shops:
            checks = s.frames["checks"]
            looks = checks[["pair_id", "checked_on"]].drop_duplicates()
            read += len(
                looks.merge(
                    s.frames["soles"],
                    left_on=["pair_id", "checked_on"],
                    right_on=["pair_id", "removed_on"],
                )
            )
        return read / ended

    assert read_share("silent_shop") == pytest.approx(0.20, abs=0.04)
    assert read_share("silent_shop_half_readings") == pytest.approx(0.10, abs=0.03)
    assert shop("silent_shop_no_readings").frames["checks"].empty
    assert {"left", "right"} == set(shop("silent_shop").frames["checks"]["foot"])


@pytest.mark.parametrize(("name", "share"), [("mixed_shop_10", 0.10), ("mixed_shop_50", 0.50)])
def test_customers_of_a_mixed_shop_log_in_the_share_asked_for(name, share):
    people = shop(name).hidden_pairs.drop_duplicates("wearer_id")
    assert people["logs"].mean() == pytest.approx(share, abs=0.35 * share)
    logged = shop(name).frames["wear_days"]["pair_id"].unique()
    pairs = shop(name).hidden_pairs.set_index("pair_id")
    assert pairs.loc[logged, "logs"].all()
    assert pairs.index[pairs["logs"]].str.startswith("L").all()


@pytest.mark.slow
def test_late_owners_log_and_look_only_since_they_began():
    drawn = shop("mixed_shop_late")
    worn, soles = drawn.frames["wear_days"], drawn.frames["soles"]
    began = worn.groupby("pair_id")["worn_on"].min()
    fitted = soles.groupby("pair_id")["fitted_on"].min()
    assert ((began - fitted.reindex(began.index)).dt.days > 365).mean() > 0.5
    assert (began > drawn.as_of - 3 * YEAR).all()


def test_every_pair_of_the_one_check_shop_was_looked_at_once():
    checks = shop("one_check_shop").frames["checks"]
    looks = checks[["pair_id", "checked_on", "method"]].drop_duplicates()
    assert not looks["pair_id"].duplicated().any()
    assert looks["pair_id"].nunique() > 0.8 * len(shop("one_check_shop").frames["pairs"])
    assert (checks["point"] == "ball").all()
    assert not checks.duplicated(["pair_id", "foot"]).any()


@pytest.mark.slow
def test_the_collector_alone_has_only_a_thumb():
    sizes = {len(shop("solo_thumb", seed).frames["pairs"]) for seed in range(3, 8)}
    assert sizes <= set(range(12, 17))
    assert len(sizes) > 1
    drawn = shop("solo_thumb")
    assert len(drawn.frames["wearers"]) == 1
    assert set(drawn.frames["checks"]["method"]) == {"thumb"}
    cuts = [shop("solo_thumb", seed).truth.grade_cuts_mm[0] for seed in range(3, 8)]
    assert max(cuts) - min(cuts) > 0.2


def test_a_young_shop_has_known_its_pairs_for_less_than_three_years():
    drawn = shop("silent_shop_young")
    opened = drawn.as_of - 3 * YEAR - pd.Timedelta(days=2)
    assert (drawn.hidden_pairs["known_on"] > opened).all()
    assert (drawn.frames["bench_jobs"]["received_on"] > opened).all()


def test_hand_overs_to_come_agree_with_the_count_of_the_year():
    drawn = shop("silent_shop")
    ahead = drawn.hidden_hand_overs
    ahead = ahead[ahead["received_on"] > drawn.as_of]
    within = ahead[ahead["received_on"] <= drawn.as_of + YEAR]
    count = within.groupby("pair_id").size().reindex(drawn.hidden_pairs["pair_id"]).fillna(0)
    assert (count.to_numpy() == drawn.hidden_pairs["hand_overs_365d"].to_numpy()).all()
    gone = drawn.hidden_pairs.loc[drawn.hidden_pairs["gone"], "pair_id"]
    assert not ahead["pair_id"].isin(gone).any()
    assert (drawn.hidden_pairs["pace_per_week"][~drawn.hidden_pairs["in_use"]] == 0.0).all()
