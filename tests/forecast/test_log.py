"""Wear log: does every wrong frame raise an error of the library that says what to do?"""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pyarrow as pa
import pytest

from solespan.forecast import wear_log
from solespan.forecast.errors import BadFrame

DAY = "2024-03-01"


def frames() -> dict[str, dict[str, list]]:
    return {
        "wearers": {"wearer_id": ["ada"], "driving_foot": ["right"]},
        "pairs": {"pair_id": ["brown"], "wearer_id": ["ada"], "construction": ["blake"]},
        "soles": {
            "sole_id": ["s1"],
            "pair_id": ["brown"],
            "fitted_on": [DAY],
            "material": ["oak_bark_leather"],
            "nominal_thickness_mm": [5.0],
        },
        "wear_days": {"pair_id": ["brown"], "worn_on": ["2024-03-02"], "wet": [False]},
        "checks": {
            "pair_id": ["brown"],
            "checked_on": ["2024-04-01"],
            "foot": ["left"],
            "point": ["ball"],
            "method": ["caliper"],
            "value_mm": [4.5],
        },
    }


def with_columns(table: str, **columns: object) -> dict[str, pd.DataFrame]:
    given = frames()
    for name, value in columns.items():
        given[table][name] = value if isinstance(value, list) else [value]
    return {name: pd.DataFrame(frame) for name, frame in given.items()}


WRONG = [
    # table, column, value, words of the message
    ("checks", "thickness_mm", 4.5, "unknown; the nearest is"),
    ("checks", "value", 4.5, "'value_mm'"),
    ("checks", "valuemm", 4.5, "'value_mm'"),
    ("wear_days", "hour", 8, "'hours'"),
    ("wear_days", "Wet", True, "'wet'"),
    ("pairs", "owner", "ada", "Known are pair_id"),
    ("soles", "fitted", DAY, "'fitted_on'"),
    ("wearers", "0", 1, "unknown"),
    ("soles", "fitted_on", "01/03/2024", "write 2024-03-01"),
    ("soles", "fitted_on", "yesterday", "YYYY-MM-DD"),
    ("soles", "fitted_on", "2024-02-30", "no such day"),
    ("soles", "fitted_on", 45000, "45000 is not a day"),
    ("soles", "fitted_on", 45000.5, "is not a day"),
    ("soles", "fitted_on", "1066-10-14", "1900-01-01"),
    ("soles", "fitted_on", dt.date(1066, 10, 14), "1900-01-01"),
    ("soles", "fitted_on", True, "YYYY-MM-DD"),
    ("soles", "fitted_on", None, "every row needs one"),
    ("soles", "material", "oak", "'oak' is not one of oak_bark_leather"),
    ("soles", "material", 3.5, "3.5 is not a text"),
    ("soles", "nominal_thickness_mm", "5,0", "write 5.0"),
    ("soles", "nominal_thickness_mm", "thick", "not a number"),
    ("soles", "nominal_thickness_mm", True, "is not a number"),
    ("soles", "nominal_thickness_mm", 41.0, "outside 0 to 40 mm"),
    ("soles", "nominal_thickness_mm", -1, "outside"),
    ("soles", "nominal_thickness_mm", float("inf"), "outside"),
    ("soles", "nominal_thickness_mm", pd.Timestamp(DAY), "is not a number"),
    ("soles", "nominal_thickness_iron", 9, "give one of them"),
    ("soles", "nominal_thickness_iron", "nine", "nominal_thickness_iron"),
    ("wear_days", "wet", "nein", "true or false"),
    ("wear_days", "wet", 2, "neither true nor false"),
    ("wear_days", "wet", 0.5, "neither true nor false"),
    ("wear_days", "hours", 25, "outside 0 to 24"),
    ("wear_days", "steps", 10.5, "not a whole number"),
    ("wear_days", "surface", "moon", "'moon' is not one of"),
    ("wear_days", "pair_id", "black", "'black' is not a pair_id of pairs"),
    ("wear_days", "pair_id", [["brown"]], "wear_days.pair_id"),
    ("checks", "foot", "both", "'both' is not one of left, right"),
    ("checks", "grade", 2, "is not one of"),
    ("pairs", "earlier_resoles", "two", "a whole number"),
    ("pairs", "construction", None, "every row needs one"),
]


@pytest.mark.parametrize(("table", "column", "value", "words"), WRONG)
def test_a_wrong_column_is_named_with_what_is_accepted(table, column, value, words):
    with pytest.raises(BadFrame) as raised:
        wear_log(**with_columns(table, **{column: value}))
    assert str(raised.value).startswith(f"{table}.{column}: ")
    assert words in str(raised.value)


@pytest.mark.parametrize("wrong", [[1, 2], "pairs.csv", {"pair_id": ["brown"]}, 3])
def test_what_is_no_frame_is_named(wrong):
    with pytest.raises(BadFrame, match=r"pairs: this is a .*; give a frame"):
        wear_log(**with_columns("pairs") | {"pairs": wrong})


def test_a_missing_column_two_alike_and_a_key_twice_are_named():
    given = with_columns("soles")
    with pytest.raises(BadFrame, match=r"soles\.fitted_on: this column is required"):
        wear_log(**given | {"soles": given["soles"].drop(columns="fitted_on")})
    with pytest.raises(BadFrame, match=r"soles\.material: two columns"):
        wear_log(
            **given | {"soles": pd.concat([given["soles"], given["soles"][["material"]]], axis=1)}
        )
    with pytest.raises(BadFrame, match=r"soles: the key .* is in more than one row"):
        wear_log(**given | {"soles": pd.concat([given["soles"]] * 2)})


@pytest.mark.parametrize(("text", "flag"), [("false", False), ("True", True), ("", False)])
def test_a_flag_in_text_is_read_as_in_a_file(text, flag):
    assert wear_log(**with_columns("wear_days", wet=text)).wear_days["wet"].tolist() == [flag]


def test_irons_become_millimetres_where_millimetres_are_empty():
    log = wear_log(**with_columns("checks", value_iron=9, value_mm=None))
    assert log.checks["value_mm"].tolist() == [pytest.approx(4.7625)]  # ASTM D1814, clause 1.2
    given = with_columns("soles", nominal_thickness_iron="9")
    given["soles"] = given["soles"].drop(columns="nominal_thickness_mm")
    assert wear_log(**given).soles["nominal_thickness_mm"].tolist() == [pytest.approx(4.7625)]


def test_arrow_texts_categories_and_days_of_any_kind_give_the_same_log():
    plain = wear_log(**with_columns("soles"))
    arrow = wear_log(**{name: pa.table(columns) for name, columns in frames().items()})
    days = with_columns("soles", fitted_on=dt.date(2024, 3, 1), nominal_thickness_mm="5.0")
    days["soles"]["material"] = days["soles"]["material"].astype("category")
    stamps = with_columns("soles", fitted_on=pd.Timestamp(DAY, tz="Europe/Vienna"))
    for other in (arrow, wear_log(**days), wear_log(**stamps)):
        for name in frames():
            pd.testing.assert_frame_equal(getattr(other, name), getattr(plain, name))
