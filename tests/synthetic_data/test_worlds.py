"""Is a simulated world repeatable, within the contract, and silent about the future?"""

from __future__ import annotations

import functools

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.frames import TABLES, WEARING_POINTS
from solespan.synthetic_data import SCENARIOS, Simulated, Truth, panel, simulate, world

HIDDEN = ("hidden_wear", "hidden_thickness", "hidden_due", "rates", "hidden_wearers")


@pytest.fixture(scope="module")
def mixed() -> Simulated:
    return world("score_world", 7, n_pairs=250, horizon_days=1200)


@functools.cache
def small(name: str) -> Simulated:
    return world(name, 3, n_pairs=60, horizon_days=0)


def test_the_same_seed_gives_the_same_world_to_the_byte():
    first = small("every_habit")
    second = world("every_habit", 3, n_pairs=60, horizon_days=0)
    for name in TABLES:
        assert first.frames[name].to_csv() == second.frames[name].to_csv()
    for name in HIDDEN:
        a, b = (pd.util.hash_pandas_object(getattr(w, name)) for w in (first, second))
        assert a.equals(b), name


def test_another_seed_gives_another_world_with_other_levels():
    first, second = small("every_habit"), world("every_habit", 1, n_pairs=60, horizon_days=0)
    assert first.truth != second.truth
    assert len(first.frames["wear_days"]) != len(second.frames["wear_days"])


def test_the_log_does_not_depend_on_how_far_the_future_is_lived():
    short, far = small("every_habit"), world("every_habit", 3, n_pairs=60, horizon_days=500)
    for name in TABLES:
        pd.testing.assert_frame_equal(short.frames[name], far.frames[name], obj=name)


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_scenario_keeps_to_the_columns_words_and_bounds_of_the_contract(name):
    frames = small(name).frames
    assert list(frames) == list(TABLES)
    for table in TABLES.values():
        frame = frames[table.name]
        assert list(frame.columns) == [c.name for c in table.stored]
        assert not frame.duplicated(list(table.key)).any()
        for column in table.stored:
            values = frame[column.name]
            where = f"{table.name}.{column.name}"
            if column.required:
                assert values.notna().all(), where
            if column.words:
                assert set(values.dropna()) <= set(column.words), where
            if column.kind == "date":
                assert str(values.dtype) == "datetime64[s]", where
            if column.kind in ("number", "integer") and len(values.dropna()):
                assert values.dropna().ge(-np.inf if column.low is None else column.low).all()
                assert values.dropna().le(np.inf if column.high is None else column.high).all()
    pairs = set(frames["pairs"]["pair_id"])
    assert all(
        set(frames[t]["pair_id"]) <= pairs for t in ("soles", "wear_days", "checks", "bench_jobs")
    )
    checks = frames["checks"]
    assert (checks["value_mm"].notna() ^ checks["grade"].notna()).all()


def test_nothing_that_happened_after_as_of_is_in_the_log(mixed: Simulated):
    happened = {
        "pairs": ["acquired_on"],
        "soles": ["fitted_on", "removed_on"],
        "wear_days": ["worn_on"],
        "checks": ["checked_on"],
        "bench_jobs": ["received_on", "finished_on", "returned_on"],
    }
    for name, columns in happened.items():
        for column in columns:
            assert not mixed.frames[name][column].gt(mixed.as_of).any(), f"{name}.{column}"
    unfinished = mixed.frames["bench_jobs"][mixed.frames["bench_jobs"]["finished_on"].isna()]
    assert unfinished[["bench_minutes", "price_minor"]].isna().all(axis=None)
    wear = mixed.hidden_wear
    assert not wear.loc[wear["worn_on"] > mixed.as_of, "logged"].any()
    assert wear["worn_on"].max() <= mixed.as_of + pd.Timedelta(days=mixed.horizon_days)


def test_every_logged_wear_day_and_check_belongs_to_a_sole_that_was_on_the_pair(mixed: Simulated):
    soles = mixed.frames["soles"].assign(
        until=lambda f: f["removed_on"].fillna(pd.Timestamp("2100-01-01"))
    )
    for name, column in (("wear_days", "worn_on"), ("checks", "checked_on")):
        rows = mixed.frames[name].reset_index()[["index", "pair_id", column]]
        joined = rows.merge(soles, on="pair_id")
        on = joined[(joined[column] >= joined["fitted_on"]) & (joined[column] < joined["until"])]
        assert on["index"].is_unique
        assert len(on) == len(rows)


def test_no_pair_is_worn_while_it_is_at_the_bench(mixed: Simulated):
    wear = mixed.hidden_wear.astype({"pair_id": object})
    jobs = mixed.frames["bench_jobs"].dropna(subset=["returned_on"])
    joined = wear[wear["worn_on"] <= mixed.as_of].merge(jobs, on="pair_id")
    assert (
        not joined["worn_on"]
        .ge(joined["received_on"])
        .mul(joined["worn_on"].lt(joined["returned_on"]))
        .any()
    )


def test_a_wearer_wears_one_pair_a_day_and_keepers_of_rest_let_each_pair_rest(mixed: Simulated):
    wearer_of = mixed.frames["pairs"].set_index("pair_id")["wearer_id"]
    rest = mixed.hidden_wearers.set_index("wearer_id")["rest_days"]
    wear = mixed.hidden_wear.assign(pair_id=lambda f: f["pair_id"].astype(object))
    wear["wearer_id"] = wear["pair_id"].map(wearer_of)
    assert not wear.duplicated(["wearer_id", "worn_on"]).any()
    keepers = wear[wear["wearer_id"].map(rest) > 0].sort_values(["pair_id", "worn_on"])
    gap = keepers.groupby("pair_id")["worn_on"].diff().dropna()
    assert len(gap) > 1000
    assert gap.min() >= pd.Timedelta(days=2)


def test_thickness_never_rises_but_for_a_new_top_piece(mixed: Simulated):
    thickness = mixed.hidden_thickness
    step = thickness.groupby(["sole_id", "foot", "point"], observed=True)["thickness_mm"].diff()
    rises = thickness[step > 0]
    assert set(rises["point"]) <= {"heel"}
    heels = mixed.frames["bench_jobs"].query("work == 'top_piece'")
    renewed = set(zip(heels["pair_id"], heels["finished_on"], strict=True))
    past = rises[rises["on_date"] <= mixed.as_of]
    assert set(zip(past["pair_id"], past["on_date"], strict=True)) <= renewed
    assert thickness["thickness_mm"].min() >= 0.0


def test_a_due_date_is_the_first_day_at_or_under_the_limit(mixed: Simulated):
    due = mixed.hidden_due[mixed.hidden_due["foot"] != "pair"]
    due = due[due["point"] != "heel"]
    thickness = mixed.hidden_thickness.astype({"sole_id": object, "foot": object, "point": object})
    joined = thickness.merge(due.drop(columns="pair_id"), on=["sole_id", "foot", "point"])
    under = joined[joined["thickness_mm"] <= joined["limit_mm"]]
    first = under.groupby(["sole_id", "foot", "point"])["on_date"].min()
    stated = due.dropna(subset=["due_on"]).set_index(["sole_id", "foot", "point"])["due_on"]
    pd.testing.assert_series_equal(
        first.sort_index(), stated.sort_index(), check_names=False, check_index_type=False
    )


def test_the_pair_is_due_with_the_first_of_its_feet(mixed: Simulated):
    wide = mixed.hidden_due.pivot_table(
        index=["sole_id", "point"], columns="foot", values="due_on", aggfunc="min"
    )
    wide = wide.dropna(subset=["pair"])
    assert (wide[["left", "right"]].min(axis=1) == wide["pair"]).all()
    assert set(mixed.hidden_due["point"]) == set(WEARING_POINTS)


def test_a_due_date_stands_for_every_sole_on_a_pair_at_as_of(mixed: Simulated):
    soles = mixed.frames["soles"]
    assert set(mixed.hidden_due["sole_id"]) == set(soles[soles["removed_on"].isna()]["sole_id"])


def test_true_thickness_of_a_day_holds_one_row_per_sole_foot_and_point(mixed: Simulated):
    now = mixed.thickness_on(mixed.as_of)
    assert not now.duplicated(["sole_id", "foot", "point"]).any()
    assert set(now["sole_id"]) == set(mixed.frames["soles"]["sole_id"])


@pytest.mark.slow
def test_the_named_worlds_are_what_they_say():
    assert set(small("thumb_only").frames["checks"]["method"]) == {"thumb"}
    assert set(small("no_driver").frames["wearers"]["driving_foot"].dropna()) == {"none"}
    later = small("second_soles").frames["soles"]
    on = later[later["removed_on"].isna()]
    assert on["sole_id"].str.endswith("-S1").mean() < 0.5
    few, usual = (len(small(name).frames["checks"]) for name in ("sparse_checks", "score_world"))
    assert few < 0.6 * usual
    assert small("plain_logging").hidden_wear["logged"].all()
    collector = small("one_collector").frames
    assert set(collector["pairs"]["wearer_id"].value_counts()[:-1]) <= {14}


def test_an_unknown_world_or_an_impossible_size_says_what_is_accepted():
    with pytest.raises(KeyError, match="score_world"):
        world("nowhere", 1)
    with pytest.raises(ValueError, match="at least 1, 30 and 0"):
        simulate(Truth(), np.random.default_rng(1), n_pairs=0)
    with pytest.raises(ValueError, match="at least 1"):
        panel(0, np.random.default_rng(1))


def test_a_panel_has_six_shoes_per_wearer_and_its_readings_follow_its_rates():
    frames, rates = panel(400, np.random.default_rng(3))
    assert len(rates) == 2400
    for table in TABLES.values():
        assert list(frames[table.name].columns) == [c.name for c in table.stored]
    checks = frames["checks"].groupby(["pair_id", "foot"])["value_mm"]
    lost = (checks.first() - checks.last()).reset_index()
    both = lost.merge(rates, on=["pair_id", "foot"])
    assert np.corrcoef(both["value_mm"], both["rate_mm_per_wear_day"])[0, 1] > 0.95
    assert np.std(np.log(rates["rate_mm_per_wear_day"])) == pytest.approx(
        np.sqrt(0.38**2 + 0.15**2 + 0.035**2 + 0.03**2), rel=0.1
    )


@pytest.mark.slow
def test_a_panel_of_a_hundred_thousand_shoes_can_be_made():
    frames, rates = panel(16_667, np.random.default_rng(1))
    assert len(frames["soles"]) == 50_001
    assert len(rates) == 100_002
