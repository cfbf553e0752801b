"""The database refuses what cannot be true, keeps what it is given, and gives it back exactly."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pandas as pd
import pytest
from sqlalchemy import select
from sqlalchemy.exc import DBAPIError, StatementError

from solespan.api.storage.forecasts.forecast_reads import forecast_days
from solespan.api.storage.forecasts.forecast_writes import replace_forecasts
from solespan.api.storage.forecasts.forecasts import load_forecasts, save_fit
from solespan.api.storage.importing.bulk import insert_rows, update_rows
from solespan.api.storage.rack.frames import load_frames, load_wear_log, trusted_columns
from solespan.api.storage.rack.versions import newest_data_version, raise_data_version
from solespan.api.storage.tables.rack import LOGGED, BenchJob, Check, Pair, Sole, WearDay, Wearer
from solespan.api.storage.tables.results import ImportRun
from solespan.forecast.frames import FORECAST, TABLES

DAY = date(2024, 5, 1)


@pytest.fixture
def two_racks(database):
    """Give a database with Ann's oxford and Bob's boot, a sole on each, some wear and checks."""
    with database.writing() as session:
        for who, what in (("ann", "oxford"), ("bob", "boot")):
            pair = Pair(pair_id=what, construction="blake")
            session.add(Wearer(wearer_id=who, pairs=[pair]))
            session.flush()
            session.add_all(
                [
                    Sole(
                        sole_id=f"sole of {what}",
                        pair_pk=pair.id,
                        fitted_on=DAY,
                        material="rubber",
                        nominal_thickness_mm=5.1,
                    ),
                    WearDay(pair_pk=pair.id, worn_on=DAY, hours=1 / 3),
                    WearDay(pair_pk=pair.id, worn_on=DAY + timedelta(days=1), wet=True),
                    Check(
                        pair_pk=pair.id,
                        checked_on=DAY,
                        foot="left",
                        point="ball",
                        method="caliper",
                        value_mm=4.7625,
                    ),
                    Check(
                        pair_pk=pair.id,
                        checked_on=DAY,
                        foot="left",
                        point="ball",
                        method="thumb",
                        grade="firm",
                    ),
                    BenchJob(
                        job_id=f"job of {what}",
                        pair_pk=pair.id,
                        work="top_piece",
                        received_on=DAY,
                        price_minor=2**40,
                        currency="EUR",
                    ),
                ]
            )
    return database


def test_every_table_of_the_contract_is_stored_with_all_its_columns():
    for name, table in TABLES.items():
        stored = set(LOGGED[name].__table__.c.keys())
        owned = {"pair_pk": "pair_id", "wearer_pk": "wearer_id"}
        seen = stored | {owned[c] for c in stored & owned.keys()}
        assert {c.name for c in table.stored} <= seen


BAD = [
    ("wearers", {"wearer_id": "x", "driving_foot": "middle"}),
    ("pairs", {"pair_id": "x", "construction": "glued"}),
    ("pairs", {"pair_id": "x", "construction": "blake", "size_eu": 99.0}),
    ("pairs", {"pair_id": "x", "construction": None}),
    ("soles", {"nominal_thickness_mm": 41.0}),
    ("soles", {"nominal_thickness_mm": -0.1}),
    ("soles", {"nominal_thickness_mm": math.inf}),
    ("soles", {"nominal_thickness_mm": math.nan}),
    ("soles", {"limit_mm": 5.0}),
    ("soles", {"removed_on": DAY - timedelta(days=1)}),
    ("soles", {"sole_id": "sole of oxford"}),
    ("wear_days", {"hours": 24.1}),
    ("wear_days", {"steps": -1}),
    ("wear_days", {"surface": "moon"}),
    ("wear_days", {"worn_on": DAY}),
    ("checks", {"value_mm": 4.0, "grade": "firm"}),
    ("checks", {"value_mm": None}),
    ("checks", {"foot": "both"}),
    ("checks", {"checked_on": DAY}),
    ("bench_jobs", {"returned_on": DAY - timedelta(days=1)}),
    ("bench_jobs", {"work": "polish"}),
]
LATER = DAY + timedelta(days=9)
GOOD = {
    "wearers": {},
    "pairs": {"wearer_pk": 1},
    "soles": {
        "sole_id": "x",
        "pair_pk": 1,
        "fitted_on": DAY,
        "material": "rubber",
        "nominal_thickness_mm": 5.0,
    },
    "wear_days": {"pair_pk": 1, "worn_on": LATER},
    "checks": {
        "pair_pk": 1,
        "checked_on": LATER,
        "foot": "left",
        "point": "ball",
        "method": "caliper",
        "value_mm": 4.0,
    },
    "bench_jobs": {"job_id": "x", "pair_pk": 1, "work": "rewelt", "received_on": DAY},
}


def test_a_row_that_cannot_be_true_is_refused_by_the_database_itself(two_racks):
    for name, wrong in BAD:
        with two_racks.reading() as session:
            statement = LOGGED[name].__table__.insert()
            with pytest.raises(DBAPIError):
                session.execute(statement, [{**GOOD[name], **wrong}])
    for name in ("soles", "wear_days", "checks", "bench_jobs"):
        with two_racks.writing() as session:
            insert_rows(session, name, [GOOD[name]])


def test_an_instant_comes_back_in_utc_and_one_without_a_zone_is_a_mistake(database):
    noon_in_a_half_hour_zone = datetime(
        2026, 1, 1, 12, 0, 0, 123456, tzinfo=timezone(timedelta(hours=5, minutes=30))
    )
    with database.writing() as session:
        session.add(
            ImportRun(source="x", counts={}, report={}, imported_at=noon_in_a_half_hour_zone)
        )
    with database.reading() as session:
        back = session.scalars(select(ImportRun.imported_at)).one()
    assert back == noon_in_a_half_hour_zone
    assert back.tzinfo is UTC
    with pytest.raises(StatementError, match="time zone"), database.writing() as session:
        session.add(ImportRun(source="x", counts={}, report={}, imported_at=datetime(2026, 1, 1)))  # noqa: DTZ001


def test_frames_follow_the_contract_and_floats_keep_their_bits(two_racks):
    with two_racks.reading() as session:
        frames = load_frames(session)
        log = load_wear_log(session)
    for name, table in TABLES.items():
        assert list(frames[name]) == [c.name for c in table.stored]
        keys = frames[name][list(table.key)]
        assert keys.equals(keys.sort_values(list(table.key), ignore_index=True))
    assert frames["wear_days"]["hours"][0] == 1 / 3
    assert frames["wear_days"]["hours"].isna().sum() == 2
    assert frames["wear_days"]["worn_on"].dtype == "datetime64[s]"
    assert frames["wear_days"]["wet"].tolist() == [False, True, False, True]
    assert frames["soles"]["removed_on"].isna().all()
    assert frames["bench_jobs"]["price_minor"].tolist() == [2.0**40] * 2
    assert log.checks["value_mm"].tolist()[0] == 4.7625


def test_a_log_of_some_wearers_is_that_part_of_the_whole(two_racks):
    with two_racks.reading() as session:
        whole, part = load_wear_log(session), load_wear_log(session, ["bob"])
        nobody = load_wear_log(session, [])
    for name in TABLES:
        pd.testing.assert_frame_equal(
            getattr(part, name), getattr(whole.of_wearers(["bob"]), name), check_dtype=False
        )
        assert len(getattr(nobody, name)) == 0


def test_bulk_updates_raise_the_version_and_leave_other_columns(two_racks):
    with two_racks.writing() as session:
        pk = session.scalars(select(WearDay.id).order_by(WearDay.id)).first()
        update_rows(session, "wear_days", [{"pk": pk, "steps": 9000}])
        update_rows(session, "wear_days", [])
    with two_racks.reading() as session:
        day = session.get(WearDay, pk)
        assert (day.steps, day.hours, day.version) == (9000, 1 / 3, 2)
        assert day.updated_at > day.created_at


def _forecast(pair_id: str, **values) -> pd.DataFrame:
    row = {c.name: None for c in FORECAST} | {
        "pair_id": pair_id,
        "sole_id": f"sole of {pair_id}",
        "as_of": pd.Timestamp(DAY),
        "foot": "pair",
        "point": "ball",
        "thickness_mm_p50": 4.1,
        "due_p50": pd.Timestamp(LATER),
        "due_p95": pd.NaT,
        "chance_now": 0.25,
        "send_by": pd.Timestamp(LATER),
        "band": "watch",
    }
    return pd.DataFrame([row | values])


@pytest.mark.parametrize("wearer_id", ["ann", "nobody"])
def test_columns_hold_what_the_frames_hold(two_racks, wearer_id):
    with two_racks.reading() as session:
        frames = load_frames(session, [wearer_id])
        columns = trusted_columns(session, [wearer_id])
    for name, frame in frames.items():
        held = getattr(columns, name)
        assert list(held) == list(frame)
        for column, values in held.items():
            assert values.dtype == frame[column].dtype
            np.testing.assert_array_equal(values, frame[column].to_numpy())


def test_forecasts_replace_those_of_the_same_wearers_only(two_racks):
    with two_racks.writing() as session:
        both = pd.concat([_forecast("oxford"), _forecast("boot")])
        assert replace_forecasts(session, both) == 2
        new = _forecast("boot", chance_now=0.5, rate_mm_per_wear_day_p50=np.nan)
        assert replace_forecasts(session, new, wearer_ids=["bob"]) == 1
    with two_racks.reading() as session:
        seen = load_forecasts(session)
        ours = load_forecasts(session, ["ann"])
    assert list(seen) == [c.name for c in FORECAST]
    assert dict(zip(seen["pair_id"], seen["chance_now"], strict=True)) == {
        "boot": 0.5,
        "oxford": 0.25,
    }
    assert seen["due_p95"].isna().all()
    assert seen["sole_id"].tolist() == ["sole of boot", "sole of oxford"]
    assert ours["pair_id"].tolist() == ["oxford"]


def stale(session):
    return [wearer for wearer, _, _, fresh in forecast_days(session) if not fresh]


def test_a_forecast_is_stale_as_soon_as_a_row_of_its_wearer_changes(two_racks):
    with two_racks.writing() as session:
        assert stale(session) == ["ann", "bob"]
        fit = save_fit(session, as_of=DAY, model_version="1", payload={"a": [1.5]})
        both = pd.concat([_forecast("oxford"), _forecast("boot")])
        replace_forecasts(session, both, fit=fit)
        assert stale(session) == []
    with two_racks.writing() as session:
        bob = session.scalars(select(Wearer.id).where(Wearer.wearer_id == "bob")).one()
        raise_data_version(session, [bob])
    with two_racks.reading() as session:
        assert stale(session) == ["bob"]


def test_data_versions_only_rise_even_when_a_wearer_goes(two_racks):
    with two_racks.writing() as session:
        pks = dict(session.execute(select(Wearer.wearer_id, Wearer.id)).all())
        assert raise_data_version(session, []) is None
        assert raise_data_version(session, [pks["ann"]]) == 1
        assert raise_data_version(session, [pks["bob"]]) == 2
        save_fit(session, as_of=DAY, model_version="1", payload={})
        session.delete(session.get(Wearer, pks["bob"]))
        session.flush()
        assert newest_data_version(session) == 2
        assert raise_data_version(session, [pks["ann"]]) == 3
        assert session.get(Wearer, pks["ann"]).version == 1


@pytest.mark.slow
def test_a_hundred_thousand_wear_days_are_read_in_about_a_second(two_racks):
    """Measured: 1.0 s on SQLite; the bound leaves room for a busy machine."""
    with two_racks.writing() as session:
        rows = [
            {"pair_pk": pk, "worn_on": date(1950, 1, 1) + timedelta(days=n), "hours": 8.0}
            for pk in session.scalars(select(Pair.id))
            for n in range(27_000)
        ]
        insert_rows(session, "wear_days", rows)
    with two_racks.reading() as session:
        assert len(load_wear_log(session).wear_days) == 54_004
