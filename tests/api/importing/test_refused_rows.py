"""A row that cannot be true is refused with place and reason, and then nothing is taken."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from solespan.api.clock import Clock
from tests.api.importing.conftest import found

# file, its text, line, column, part of the reason
TRUTHS = [
    ("wear_days", "pair_id,worn_on\noxford,2026-11-26\n", 2, "worn_on", "in the future"),
    ("wear_days", "pair_id,worn_on\noxford,2024-01-09\n", 2, "worn_on", "before the pair's first"),
    (
        "wear_days",
        "pair_id,worn_on\noxfrod,2024-02-01\n",
        2,
        "pair_id",
        "nearest known one is 'oxford'",
    ),
    (
        "checks",
        "pair_id,checked_on,foot,point,method,value_mm\noxford,2024-01-09,left,ball,caliper,5\n",
        2,
        "checked_on",
        "before the pair's first sole",
    ),
    (
        "checks",
        "pair_id,checked_on,foot,point,method,value_mm,grade\noxford,2024-03-09,left,ball,caliper,4,firm\n",
        2,
        "grade",
        "both a thickness and a grade",
    ),
    (
        "checks",
        "pair_id,checked_on,foot,point,method,value_mm,grade\noxford,2024-03-09,left,ball,caliper,,\n",
        2,
        "value_mm",
        "neither",
    ),
    (
        "pairs",
        "pair_id,wearer_id,construction,acquired_on\noxford,ann,blake,2027-01-01\n",
        2,
        "acquired_on",
        "in the future",
    ),
    (
        "soles",
        "sole_id,pair_id,fitted_on,material,nominal_thickness_mm,removed_on\ns1,oxford,2024-01-10,rubber,5,2024-01-09\n",
        2,
        "removed_on",
        "before it was fitted",
    ),
    (
        "soles",
        "sole_id,pair_id,fitted_on,material,nominal_thickness_mm,limit_mm\ns1,oxford,2024-01-10,rubber,2,2.5\n",
        2,
        "limit_mm",
        "not thicker when new",
    ),
    (
        "soles",
        "sole_id,pair_id,fitted_on,material,nominal_thickness_mm,removed_on\ns1,oxford,2024-01-10,rubber,5,2025-01-01\ns2,oxford,2024-12-01,rubber,5,\n",
        3,
        "fitted_on",
        "was on until 2025-01-01",
    ),
    (
        "soles",
        "sole_id,pair_id,fitted_on,material,nominal_thickness_mm\ns1,oxford,2024-01-10,rubber,5\ns2,oxford,2024-01-10,rubber,5\n",
        3,
        "fitted_on",
        "same day",
    ),
    (
        "bench_jobs",
        "job_id,pair_id,work,received_on,returned_on\nj,oxford,full_sole,2023-01-01,2023-02-01\n",
        2,
        "received_on",
        "before the pair's first sole",
    ),
    (
        "bench_jobs",
        "job_id,pair_id,work,received_on,returned_on\nj,oxford,full_sole,2024-05-01,2024-04-01\n",
        2,
        "returned_on",
        "before received_on",
    ),
    (
        "bench_jobs",
        "job_id,pair_id,work,received_on,finished_on\nj,oxford,full_sole,2024-05-01,2026-12-01\n",
        2,
        "finished_on",
        "in the future",
    ),
]


@pytest.mark.parametrize("case", TRUTHS, ids=[case[4] for case in TRUTHS])
def test_a_row_that_cannot_be_true_is_named_and_nothing_is_written(folder, case):
    file, text, line, column, reason = case
    folder.only(**{file: text})
    report = folder.take()
    assert not report.written
    assert all(rows == [] for rows in folder.stored().values())
    named = [f for f in report.rows if f.severity == "refused" and reason in f.why]
    assert named, [f.why for f in report.rows]
    assert (named[0].file, named[0].line, named[0].column) == (f"{file}.csv", line, column)
    assert named[0].accepted


def test_the_day_is_the_wearers_own(folder):
    """Late in the evening in UTC it is already tomorrow in Auckland, and still today in Vienna."""
    clock = Clock(lambda: datetime.fromisoformat("2026-11-25T20:00:00+00:00"))
    folder.only(wear_days="pair_id,worn_on\noxford,2026-11-26\n")
    assert folder.take(today=clock.today).refused == 1
    folder.texts["wearers"] = "wearer_id,time_zone\nann,Pacific/Auckland\n"
    assert folder.take(today=clock.today).refused == 0


def test_the_same_key_with_other_values_refuses_both_rows_and_names_the_other(folder):
    folder.only(wear_days="pair_id,worn_on,hours\noxford,2024-02-01,8\noxford,2024-02-01,9\n")
    report = folder.take(keep_good_rows=True)
    assert [(f.line, "on line 3" in f.why or "on line 2" in f.why) for f in report.rows] == [
        (2, True),
        (3, True),
    ]
    assert folder.stored()["wear_days"] == []


def test_identical_doubled_rows_are_taken_once_and_noted(folder, findings):
    folder.only(wear_days="pair_id,worn_on,hours\noxford,2024-02-01,8\noxford,2024-02-01,8.0\n")
    report = folder.take()
    assert report.written
    assert findings(report, "noted") == [("wear_days.csv", 3, "worn_on")]
    assert len(folder.stored()["wear_days"]) == 1
    assert report.refused == 0


def test_what_depends_on_a_refused_row_is_refused_with_that_reason(folder):
    folder.texts["pairs"] += "derby,ann,Derby,glued\nboot,ann,Boot,blake\n"
    folder.texts["soles"] += "s2,derby,2024-01-10,rubber,5,\ns3,boot,2024-01-10,rubber,50,\n"
    folder.texts["wear_days"] += "derby,2024-02-01,8\nboot,2024-02-01,8\n"
    folder.texts["checks"] += "boot,2024-03-01,left,ball,caliper,4,\n"
    report = folder.take(keep_good_rows=True)
    assert report.written
    whys = {(f.file, f.line): f.why for f in report.rows if f.severity == "refused"}
    assert "pairs.csv, line 3" in whys["soles.csv", 3]
    assert "pairs.csv, line 3" in whys["wear_days.csv", 4]
    assert "soles.csv, line 4" in whys["wear_days.csv", 5]
    assert "soles.csv, line 4" in whys["checks.csv", 4]
    stored = folder.stored()
    assert [p["pair_id"] for p in stored["pairs"]] == ["boot", "oxford"]
    assert {w["pair_id"] for w in stored["wear_days"]} == {"oxford"}


def test_a_refused_wearer_takes_its_pairs_along(folder):
    folder.texts["wearers"] += "bob,Bob,Nowhere/Land,right\n"
    folder.texts["pairs"] += "bobs,bob,His,blake\n"
    report = folder.take(keep_good_rows=True)
    assert any("wearers.csv, line 3" in f.why for f in report.rows)
    assert [w["wearer_id"] for w in folder.stored()["wearers"]] == ["ann"]


def test_a_sole_cannot_change_pairs(folder):
    assert folder.take().written
    folder.texts["pairs"] += "derby,ann,Derby,blake\n"
    folder.texts["soles"] = folder.texts["soles"].replace("s1,oxford", "s1,derby")
    report = folder.take()
    assert not report.written
    assert any("belongs to the pair 'oxford'" in f.why for f in report.rows)


def test_a_first_sole_cannot_move_past_wear_that_is_stored(folder):
    assert folder.take().written
    folder.only(soles=folder.texts["soles"].replace("2024-01-10", "2024-06-01"))
    report = folder.take()
    assert not report.written
    assert any("2024-02-01" in f.why for f in report.rows)


def test_a_bad_row_of_a_known_pair_leaves_the_stored_one(folder):
    assert folder.take().written
    folder.texts["pairs"] = folder.texts["pairs"].replace("goodyear_welted", "glued")
    folder.texts["wear_days"] += "oxford,2024-02-09,8\n"
    report = folder.take(keep_good_rows=True)
    assert report.refused == 1
    assert folder.stored()["pairs"][0]["construction"] == "goodyear_welted"
    assert len(folder.stored()["wear_days"]) == 3


def test_a_limit_that_only_the_database_knows_still_binds(folder):
    folder.texts["soles"] = (
        "sole_id,pair_id,fitted_on,material,nominal_thickness_mm,limit_mm\n"
        "s1,oxford,2024-01-10,rubber,5,3\n"
    )
    assert folder.take().written
    folder.only(
        soles="sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n"
        "s1,oxford,2024-01-10,rubber,2.5\n"
    )
    report = folder.take()
    assert [f.column for f in report.rows if f.severity == "refused"] == ["limit_mm"]


def test_today_itself_can_be_logged(folder):
    folder.only(wear_days="pair_id,worn_on\noxford,2026-11-25\n")
    assert folder.take(today=date(2026, 11, 25)).written


def test_wear_of_a_pair_without_any_sole_is_refused(folder):
    folder.only(
        soles="sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n",
        wear_days="pair_id,worn_on\noxford,2024-02-01\n",
    )
    [finding] = folder.take().rows
    assert "no sole of this pair is known" in finding.why
    assert (finding.file, finding.line) == ("wear_days.csv", 2)


def test_every_cell_of_a_row_that_cannot_be_read_is_named_at_once(folder):
    bad = "pair_id,worn_on,hours,surface\noxford,1.2.2024,99,mud\n,,8,\n"
    report = folder.only(wear_days=bad).take()
    assert found(report, "refused") == [
        ("wear_days.csv", 2, "worn_on"),
        ("wear_days.csv", 2, "hours"),
        ("wear_days.csv", 2, "surface"),
        ("wear_days.csv", 3, "pair_id"),
        ("wear_days.csv", 3, "worn_on"),
    ]
    assert report.counts["wear_days"].refused == 2
