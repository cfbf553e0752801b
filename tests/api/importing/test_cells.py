"""A cell that cannot be read is refused with its place, why, and what would be accepted."""

from __future__ import annotations

import io

import pytest

from solespan.api.services.interchange.drafts import read_cells
from solespan.api.services.interchange.reading import read_table
from solespan.forecast.frames import TABLES
from solespan.forecast.units import iron_to_mm

# file, its text, line, column, part of the reason
CELLS = [
    ("wear_days", "pair_id,worn_on,hours\noxford,2024-02-01,nan\n", 2, "hours", "not a quantity"),
    ("wear_days", "pair_id,worn_on,hours\noxford,2024-02-01,-Inf\n", 2, "hours", "not a quantity"),
    (
        "wear_days",
        "pair_id,worn_on,hours\noxford,2024-02-01,1e999\n",
        2,
        "hours",
        "outside 0 to 24",
    ),
    ("wear_days", "pair_id,worn_on,hours\noxford,2024-02-01,-1\n", 2, "hours", "outside 0 to 24 h"),
    ("wear_days", "pair_id,worn_on,hours\noxford,2024-02-01,24.5\n", 2, "hours", "outside 0 to 24"),
    ("wear_days", "pair_id,worn_on,hours\noxford,2024-02-01,eight\n", 2, "hours", "not a number"),
    ("wear_days", 'pair_id,worn_on,hours\noxford,2024-02-01,"7,5"\n', 2, "hours", "write 7.5"),
    ("wear_days", "pair_id,worn_on,steps\noxford,2024-02-01,10.5\n", 2, "steps", "whole number"),
    (
        "wear_days",
        "pair_id,worn_on,surface\noxford,2024-02-01,Pavment\n",
        2,
        "surface",
        "'pavement'",
    ),
    ("wear_days", "pair_id,worn_on\noxford,03/04/2024\n", 2, "worn_on", "2024-04-03 if day first"),
    (
        "wear_days",
        "pair_id,worn_on\noxford,03/04/2024\n",
        2,
        "worn_on",
        "2024-03-04 if month first",
    ),
    ("wear_days", "pair_id,worn_on\noxford,13.04.2024\n", 2, "worn_on", "write 2024-04-13"),
    ("wear_days", "pair_id,worn_on\noxford,2024/4/3\n", 2, "worn_on", "write 2024-04-03"),
    ("wear_days", "pair_id,worn_on\noxford,20240403\n", 2, "worn_on", "write 2024-04-03"),
    ("wear_days", "pair_id,worn_on\noxford,2024-04-03T10:00\n", 2, "worn_on", "write 2024-04-03"),
    ("wear_days", "pair_id,worn_on\noxford,45385\n", 2, "worn_on", "2024-04-03"),
    ("wear_days", "pair_id,worn_on\noxford,2024-02-30\n", 2, "worn_on", "no such day"),
    ("wear_days", "pair_id,worn_on\noxford,0024-02-01\n", 2, "worn_on", "before 1900"),
    ("wear_days", "pair_id,worn_on\noxford,\n", 2, "worn_on", "required and empty"),
    ("wear_days", "pair_id,worn_on\noxford,2024-02-01,8\n", 2, "", "3 fields, the header 2"),
    ("wear_days", "pair_id,worn_on\n\n\noxford,2024-02-01\noxford,x\n", 5, "worn_on", "ISO order"),
    (
        "checks",
        "pair_id,checked_on,foot,point,method,value_mm\noxford,2024-03-09,left,ball,caliper,41\n",
        2,
        "value_mm",
        "outside 0 to 40 mm",
    ),
    (
        "checks",
        "pair_id,checked_on,foot,point,method,value_iron\noxford,2024-03-09,left,ball,caliper,-1\n",
        2,
        "value_iron",
        "outside 0",
    ),
    (
        "checks",
        "pair_id,checked_on,foot,point,method,value_mm,value_iron\noxford,2024-03-09,left,ball,caliper,4,8\n",
        2,
        "value_iron",
        "both value_mm and value_iron",
    ),
    (
        "checks",
        "pair_id,checked_on,foot,point,method,grade\noxford,2024-03-09,links,ball,thumb,firm\n",
        2,
        "foot",
        "unknown word",
    ),
    ("pairs", "pair_id,wearer_id,construction\n oxford,ann,blake\n", 2, "pair_id", "spaces around"),
    (
        "pairs",
        "pair_id,wearer_id,construction,currency\noxford,ann,blake,euro\n",
        2,
        "currency",
        "not a currency",
    ),
    (
        "wearers",
        "wearer_id,time_zone\nann,Europe/Atlantis\n",
        2,
        "time_zone",
        "not a known time zone",
    ),
    ("wearers", "wearer_id,name\nann,A\x00n\n", 2, "name", "NUL"),
    ("wearers", "wearer_id,email\nann,nobody\n", 2, "email", "not an e-mail"),
    (
        "wear_days",
        "pair_id,worn_on,wet\noxford,2024-02-01,yes\n",
        2,
        "wet",
        "neither true nor false",
    ),
]


def _read(name: str, text: str):
    return read_cells(read_table(io.BytesIO(text.encode()), TABLES[name], limit_bytes=10**6))


@pytest.mark.parametrize("case", CELLS, ids=[f"{case[3]}: {case[4]}" for case in CELLS])
def test_a_cell_that_cannot_be_read_is_named(case):
    file, text, line, column, reason = case
    draft = _read(file, text)
    [finding] = draft.findings
    assert reason in finding.why
    assert (finding.severity, finding.file) == ("refused", f"{file}.csv")
    assert (finding.line, finding.column) == (line, column)
    assert finding.accepted
    assert draft.refused == 1


def test_irons_become_millimetres():
    """9 iron = 9/48 inch = 4.7625 mm (ASTM D1814)."""
    draft = _read(
        "checks",
        "pair_id,checked_on,foot,point,method,value_mm,value_iron\n"
        "p,2024-01-01,left,ball,caliper,,9\np,2024-01-02,left,ball,caliper,4.5,\n",
    )
    assert draft.findings == []
    assert draft.frame["value_mm"].tolist() == [iron_to_mm(9), 4.5]


def test_the_thickest_sole_in_irons_stays_within_the_bound():
    draft = _read(
        "checks",
        "pair_id,checked_on,foot,point,method,value_iron\n"
        "p,2024-01-01,left,ball,caliper,75.59055118110236\n",
    )
    assert draft.findings == []
    assert 39.999 < draft.frame["value_mm"][0] <= 40.0


def test_empty_cells_take_the_defaults_of_the_contract():
    draft = _read("wear_days", "pair_id,worn_on,surface,wet,hours\np,2024-01-01,,,\n")
    row = draft.frame.iloc[0]
    assert (row["surface"], row["wet"]) == ("pavement", False)
    assert row[["hours", "steps"]].isna().all()


def test_spaces_around_a_number_a_date_or_a_word_do_not_matter():
    draft = _read(
        "wear_days", "pair_id,worn_on,hours,surface,wet\np, 2024-01-01 , 8 , rough, TRUE\n"
    )
    assert draft.findings == []
    assert draft.frame.iloc[0][["hours", "surface", "wet"]].tolist() == [8.0, "rough", True]


def test_rows_over_several_lines_are_named_by_their_first():
    draft = _read("wearers", 'wearer_id,name,time_zone\na,"x\ny\nz",UTC\nb,,Nowhere\n')
    assert [f.line for f in draft.findings] == [5]
