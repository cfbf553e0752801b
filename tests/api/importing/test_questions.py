"""Odd but possible rows are taken, and named so that someone looks at them again."""

from __future__ import annotations

import pytest

HEAD = "pair_id,checked_on,foot,point,method,value_mm,grade\n"


def _checks(*rows: str) -> str:
    return HEAD + "".join(f"oxford,{row}\n" for row in rows)


def _asked(folder, *rows: str, **texts: str):
    folder.only(checks=_checks(*rows), **texts)
    report = folder.take()
    assert report.written
    assert report.refused == 0
    assert len(folder.stored()["checks"]) == len(rows)
    return [(f.line, f.column, f.why) for f in report.rows if f.severity == "questioned"]


def test_readings_that_only_shrink_raise_no_question(folder):
    rows = [
        f"2024-0{m}-01,{f},ball,caliper,{5 - m / 10},"
        for m in range(2, 9)
        for f in ("left", "right")
    ]
    assert _asked(folder, *rows) == []


def test_one_check_all_checks_on_one_day_and_no_checks_are_fine(folder):
    assert _asked(folder) == []
    assert _asked(folder, "2024-02-02,left,ball,caliper,4.5,") == []
    day = [f"2024-02-02,{f},{p},caliper,4.5," for f in ("left", "right") for p in ("ball", "toe")]
    assert _asked(folder, *day) == []


@pytest.mark.parametrize(
    ("method", "rise_mm", "asked"),
    # three standard deviations of a difference: 0.85 mm with a caliper, 0.42 mm with a depth gauge
    [
        ("caliper", 0.8, False),
        ("caliper", 0.9, True),
        ("depth_gauge", 0.4, False),
        ("depth_gauge", 0.5, True),
    ],
)
def test_a_rise_is_questioned_when_the_gauge_does_not_explain_it(folder, method, rise_mm, asked):
    questions = _asked(
        folder,
        f"2024-02-01,left,ball,{method},4.0,",
        f"2024-03-01,left,ball,{method},{4.0 + rise_mm},",
    )
    assert [(line, column) for line, column, _ in questions] == ([(3, "value_mm")] if asked else [])


def test_a_rise_is_seen_against_what_is_already_stored(folder):
    assert _asked(folder, "2024-02-01,left,ball,caliper,3.0,") == []
    folder.texts["checks"] = _checks("2024-03-01,left,ball,caliper,4.5,")
    report = folder.take()
    assert [f.line for f in report.rows] == [2]


def test_a_resole_or_work_on_the_point_explains_a_rise(folder):
    rises = ["2024-02-01,left,toe,caliper,3.0,", "2024-09-01,left,toe,caliper,5.0,"]
    assert len(_asked(folder, *rises)) == 1
    jobs = "job_id,pair_id,work,received_on,returned_on\nj,oxford,{},2024-05-01,2024-05-20\n"
    assert len(_asked(folder, *rises, bench_jobs=jobs.format("top_piece"))) == 1
    assert _asked(folder, *rises, bench_jobs=jobs.format("toe_plate")) == []
    soles = (
        "sole_id,pair_id,fitted_on,material,nominal_thickness_mm,removed_on\n"
        "s1,oxford,2024-01-10,rubber,5,2024-05-01\ns2,oxford,2024-05-01,rubber,5,\n"
    )
    assert _asked(folder, *rises, soles=soles) == []


def test_a_check_on_the_day_a_sole_is_fitted_belongs_to_the_new_sole(folder):
    soles = (
        "sole_id,pair_id,fitted_on,material,nominal_thickness_mm,removed_on\n"
        "s1,oxford,2024-01-10,rubber,5,2024-05-01\ns2,oxford,2024-05-01,rubber,5,\n"
    )
    rows = ["2024-04-30,left,ball,caliper,2.0,", "2024-05-01,left,ball,caliper,5.0,"]
    assert _asked(folder, *rows, soles=soles) == []


def test_irons_typed_as_millimetres_are_suspected_and_the_thickness_they_would_be_is_told(folder):
    [(line, column, why)] = _asked(folder, "2024-02-01,left,ball,caliper,9,")
    assert (line, column) == (2, "value_mm")
    assert "4.76 mm" in why


def test_the_heel_has_a_top_piece_of_its_own_thickness(folder):
    assert _asked(folder, "2024-02-01,left,heel,caliper,7,") == []


def test_a_leather_sole_of_nine_millimetres_is_asked_about_unless_given_in_irons(folder):
    soles = "sole_id,pair_id,fitted_on,material,{}\ns1,oxford,2024-01-10,oak_bark_leather,9\n"
    folder.only(soles=soles.format("nominal_thickness_mm"))
    [question] = folder.take().rows
    assert "4.76 mm" in question.why
    folder.only(soles=soles.format("nominal_thickness_iron"))
    assert folder.take().rows == []


def test_left_and_right_that_look_swapped_are_asked_about_once(folder):
    rows = []
    for month, (left, right) in enumerate(
        [(4.8, 4.0), (4.6, 3.0), (2.0, 4.4), (4.2, 1.0)], start=2
    ):
        rows += [
            f"2024-0{month}-01,left,ball,ultrasonic,{left},",
            f"2024-0{month}-01,right,ball,ultrasonic,{right},",
        ]
    swapped = [q for q in _asked(folder, *rows) if q[1] == "foot"]
    assert [line for line, _, _ in swapped] == [6]
    assert "swapped" in swapped[0][2]


def test_a_thickness_after_a_hole_is_asked_about(folder):
    questions = _asked(
        folder,
        "2024-02-01,left,ball,thumb,,hole",
        "2024-03-01,left,ball,caliper,1.5,",
        "2024-03-01,right,ball,caliper,1.5,",
    )
    assert [(line, "hole" in why) for line, _, why in questions] == [(3, True)]


def test_a_grade_from_a_gauge_is_taken_and_asked_about(folder):
    [(line, column, _)] = _asked(folder, "2024-02-01,left,ball,caliper,,soft")
    assert (line, column) == (2, "method")


def test_an_open_sole_ends_when_the_next_is_fitted(folder):
    folder.only(
        soles="sole_id,pair_id,fitted_on,material,nominal_thickness_mm,removed_on\n"
        "s1,oxford,2024-01-10,rubber,5,\ns2,oxford,2024-06-01,rubber,5,\n"
    )
    report = folder.take()
    assert [(f.line, f.column) for f in report.rows] == [(2, "removed_on")]
    ends = {s["sole_id"]: str(s["removed_on"])[:10] for s in folder.stored()["soles"]}
    assert ends == {"s1": "2024-06-01", "s2": "NaT"}
    assert folder.take().changed == 0


def test_an_open_sole_that_is_stored_ends_when_a_file_brings_the_next(folder):
    assert folder.only().take().written
    folder.only(
        soles="sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n"
        "s2,oxford,2024-06-01,rubber,5\n"
    )
    report = folder.take()
    assert (report.counts["soles"].new, report.counts["soles"].updated) == (1, 1)
    assert "s1" in report.rows[0].why
    assert str(folder.stored()["soles"][0]["removed_on"])[:10] == "2024-06-01"
    assert folder.take().changed == 0


def test_wear_between_two_soles_is_asked_about(folder):
    folder.only(
        soles="sole_id,pair_id,fitted_on,material,nominal_thickness_mm,removed_on\n"
        "s1,oxford,2024-01-10,rubber,5,2024-05-01\ns2,oxford,2024-06-01,rubber,5,\n",
        wear_days="pair_id,worn_on\noxford,2024-05-01\noxford,2024-05-10\noxford,2024-06-01\n",
    )
    report = folder.take()
    assert [(f.line, f.column) for f in report.rows] == [(3, "worn_on")]


def test_a_sole_at_its_usual_limit_when_new_is_asked_about(folder):
    folder.only(
        soles="sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n"
        "s1,oxford,2024-01-10,veg_tan_leather,1.2\n"
    )
    [question] = folder.take().rows
    assert "due at once" in question.why


def test_a_pair_of_a_wearer_nobody_described_adds_the_wearer(folder, findings):
    folder.texts["pairs"] += "derby,bob,Derby,blake\n"
    report = folder.take()
    assert findings(report, "questioned") == [("pairs.csv", 3, "wearer_id")]
    del folder.texts["wearers"]
    folder.texts["pairs"] += "boot,eve,Boot,blake\n"
    assert findings(folder.take(), "questioned") == []
    assert [w["wearer_id"] for w in folder.stored()["wearers"]] == ["ann", "bob", "eve"]


@pytest.mark.parametrize(("grade", "mm", "asked"), [("soft", 4.6, True), ("give", 3.0, False)])
def test_a_grade_that_does_not_go_with_the_thickness_is_questioned(folder, grade, mm, asked):
    questions = _asked(
        folder,
        f"2024-06-01,left,ball,caliper,{mm},",
        f"2024-06-01,left,ball,thumb,,{grade}",
    )
    assert [(line, column) for line, column, _ in questions] == ([(3, "grade")] if asked else [])
