"""Whatever is done to a right folder, the import ends in a report or in one of our errors."""

from __future__ import annotations

import csv
import io
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solespan.api.errors import SolespanError
from solespan.api.services.importing.imports import import_files
from solespan.api.storage.rack.frames import load_frames, load_wear_log
from solespan.api.storage.session import open_database

HEADS = {
    "wearers": "wearer_id,name,time_zone,driving_foot,email",
    "pairs": "pair_id,wearer_id,construction,size_eu,acquired_on,price_minor,currency",
    "soles": "sole_id,pair_id,fitted_on,material,nominal_thickness_mm,nominal_thickness_iron,"
    "limit_mm,removed_on",
    "wear_days": "pair_id,worn_on,hours,steps,surface,wet",
    "checks": "pair_id,checked_on,foot,point,method,value_mm,value_iron,grade",
    "bench_jobs": "job_id,pair_id,work,received_on,finished_on,returned_on",
}
RIGHT = {
    "wearers": ["a,Ann,UTC,left,a@b", "b,Bob,Europe/Vienna,,"],
    "pairs": ["p,a,blake,42,2023-12-01,100,EUR", "q,b,blake,,,,", "r,c,blake,,,,"],
    "soles": [
        "s,p,2024-01-01,rubber,5,,2,2024-06-01",
        "t,p,2024-06-01,rubber,5,,,",
        "u,q,2024-01-01,crepe,,9,,",
    ],
    "wear_days": ["p,2024-02-01,8,,,", "p,2024-07-01,,9000,rough,true", "q,2024-02-01,1,,,"],
    "checks": [
        "p,2024-02-01,left,ball,caliper,4.5,,",
        "p,2024-02-01,right,ball,caliper,4.4,,",
        "p,2024-03-01,left,ball,caliper,,8,",
        "q,2024-03-01,left,heel,thumb,,,hole",
    ],
    "bench_jobs": ["j,p,full_sole,2024-05-20,2024-06-01,2024-06-10", "k,q,rewelt,2024-02-01,,"],
}
CELLS = st.sampled_from(
    [
        "",
        " ",
        "p",
        "q",
        "r",
        "s",
        "t",
        "a",
        "b",
        "c",
        "nowhere",
        "5",
        "0",
        "-1",
        "41",
        "nan",
        "inf",
        "1e400",
        "9e15",
        "0.5",
        "4,5",
        "2024-01-01",
        "2024-06-01",
        "2023-05-05",
        "2026-11-25",
        "2027-01-01",
        "1899-12-31",
        "9999-12-31",
        "01/02/2024",
        "45000",
        "rubber",
        "blake",
        "left",
        "right",
        "ball",
        "thumb",
        "caliper",
        "hole",
        "full_sole",
        "true",
        "UTC",
        "EUR",
        "'=x",
        "=x",
        "x\ny",
        '"',
        "\0",
        "é" * 300,
        "x" * 2001,
        "\u2028",
        "UTC ",
        "\u2018",
    ]
)
EDITS = st.lists(
    st.tuples(st.sampled_from(sorted(HEADS)), st.integers(0, 5), st.integers(0, 8), CELLS),
    max_size=8,
)
MOVES = st.lists(
    st.tuples(
        st.sampled_from(sorted(HEADS)),
        st.sampled_from(["double", "drop", "empty"]),
        st.integers(0, 5),
    ),
    max_size=4,
)


def _mangled(edits, moves) -> dict[str, io.BytesIO]:
    rows = {n: [r.split(",") for r in lines] for n, lines in RIGHT.items()}
    for name, row, column, cell in edits:
        line = rows[name][row % len(rows[name])]
        line[column % len(line)] = cell
    for name, move, row in moves:
        if not rows[name]:
            continue
        at = row % len(rows[name])
        if move == "double":
            rows[name].append(list(rows[name][at]))
        elif move == "drop":
            del rows[name][at]
        else:
            rows[name] = []
    out = {}
    for name, head in HEADS.items():
        stream = io.StringIO(newline="")
        csv.writer(stream).writerows([head.split(","), *rows[name]])
        out[f"{name}.csv"] = io.BytesIO(stream.getvalue().encode())
    return out


def _stored(database) -> dict:
    with database.reading() as session:
        return {n: f.astype(str).to_dict("records") for n, f in load_frames(session).items()}


def _check(databases, first, second) -> None:
    """Take a mangled folder on top of another: nothing is lost, and what is kept can be true."""
    address = databases.copy()
    database = open_database(address)
    try:
        for edits, moves in (first, second):
            before = _stored(database)
            files = _mangled(edits, moves)
            report = import_files(database, files, source="x", today=date(2026, 11, 25))
            if not report.written:
                assert _stored(database) == before
                assert report.refused
                files = _mangled(edits, moves)
                report = import_files(
                    database, files, source="x", today=date(2026, 11, 25), keep_good_rows=True
                )
            for counts in report.counts.values():
                doubled = counts.rows - counts.new - counts.unchanged - counts.refused
                assert doubled >= 0 or counts.updated
            after = _stored(database)
            files = _mangled(edits, moves)
            again = import_files(
                database, files, source="x", today=date(2026, 11, 25), keep_good_rows=True
            )
            assert again.changed == 0
            assert _stored(database) == after
        with database.reading() as session:
            load_wear_log(session)
    except SolespanError:
        pass  # a refusal of the whole folder is an answer too
    finally:
        database.close()
        databases.drop(address)


@settings(max_examples=2)
@given(first=st.tuples(EDITS, MOVES), second=st.tuples(EDITS, MOVES))
@pytest.mark.slow
def test_a_mangled_folder_never_ends_in_a_traceback(databases, first, second):
    _check(databases, first, second)


@pytest.mark.slow
@settings(max_examples=60)
@given(first=st.tuples(EDITS, MOVES), second=st.tuples(EDITS, MOVES))
def test_many_mangled_folders_never_end_in_a_traceback(databases, first, second):
    _check(databases, first, second)
