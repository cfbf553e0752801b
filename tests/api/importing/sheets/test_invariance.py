"""The same rows give the same tables, whatever the file, the encoding or the order of columns."""

from __future__ import annotations

import csv
import io
import random
from datetime import date
from importlib import resources

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solespan.api.services.importing.sheets.sheet import Sheet
from solespan.api.services.importing.sheets.translate import answers_for, read_sheets, translate
from solespan.api.services.importing.sheets.translation import KnownNames
from tests.api.importing.sheets import day_habits as days
from tests.api.importing.sheets import list_habits as lists
from tests.api.importing.sheets.habits import HABITS, TODAY, Habit
from tests.api.importing.sheets.sheet_files import as_csv, as_ods, as_xlsx

ONE_PAGE = [h for h in HABITS if len(h.pages) == 1 and h is not days.DATED_COLUMNS]
PLAIN_LISTS = (
    lists.LONG_LIST, days.WEAR_LOG, days.EVENT_LOG, lists.IRONS, lists.REPAIRS, lists.SHOP,
    lists.COUNTS, lists.LIST_OF_DAYS, days.DAYS_DOWN,
)  # fmt: skip


def tables_of(sheets, answers=None) -> dict[str, list]:
    found = translate(sheets, answers or {}, KnownNames(), TODAY)
    return {name: frame.to_dict("records") for name, frame in found.tables.items()}


def page(habit: Habit):
    (name, rows), *_ = habit.pages.items()
    return name, rows


@pytest.mark.parametrize("habit", ONE_PAGE, ids=lambda habit: habit.name)
def test_a_sheet_means_the_same_as_csv_xlsx_and_ods(habit):
    name, rows = page(habit)
    expected = tables_of(read_sheets(f"{name}.xlsx", as_xlsx(habit.pages, habit.merged)))

    files = {
        "ods": as_ods(habit.pages),
        "comma": as_csv(rows),
        "semicolon": as_csv(rows, ";", "utf-8-sig", "%d.%m.%Y", ","),
        "tab": as_csv(rows, "\t", "utf-16", "%Y-%m-%d"),
    }
    for kind, data in files.items():
        assert tables_of(read_sheets(f"{name}.{kind}", data)) == expected, kind


@pytest.mark.parametrize("encoding", ["cp1252", "mac_roman", "cp850", "utf-8", "utf-16-le"])
def test_letters_survive_every_usual_encoding(encoding):
    name, rows = page(lists.GERMAN_LIST)
    told = [[c.replace("€", "EUR") if isinstance(c, str) else c for c in row] for row in rows]

    expected = tables_of(read_sheets(f"{name}.csv", as_csv(told)))

    assert tables_of(read_sheets(f"{name}.csv", as_csv(told, ";", encoding))) == expected


@pytest.mark.parametrize("habit", PLAIN_LISTS, ids=lambda habit: habit.name)
def test_the_order_of_columns_changes_nothing(habit):
    _, rows = page(habit)
    width = max(len(row) for row in rows)
    full = [[*row, *[None] * (width - len(row))] for row in rows if len(row) > 1]
    expected = _sorted(tables_of(read_sheets("a.csv", as_csv(full))))
    for seed in range(3):
        order = random.Random(seed).sample(range(width), width)
        mixed = [[row[n] for n in order] for row in full]
        assert _sorted(tables_of(read_sheets("a.csv", as_csv(mixed)))) == expected, order


def _sorted(tables):
    return {name: sorted(rows, key=repr) for name, rows in tables.items()}


@pytest.mark.parametrize("name", ["one_collector", "small_shop"])
def test_a_folder_of_our_own_passes_as_it_is(name):
    folder = resources.files("solespan.synthetic_data") / "examples" / name
    texts = {f.name: f.read_bytes() for f in folder.iterdir() if f.name.endswith(".csv")}
    sheets = [sheet for file, data in texts.items() for sheet in read_sheets(file, data)]

    found = translate(sheets, {}, KnownNames(), TODAY)

    assert not found.questions
    for file, data in texts.items():
        frame = found.tables[file.removesuffix(".csv")]
        for row, told in zip(
            csv.DictReader(io.StringIO(data.decode(), newline="")),
            frame.to_dict("records"),
            strict=True,
        ):
            assert {**told, **row} == told


cells = st.one_of(
    st.none(),
    st.text(max_size=12),
    st.floats(allow_nan=False, allow_infinity=False),
    st.dates(date(1990, 1, 1), date(2030, 1, 1)),
    st.sampled_from(
        ["x", "Pair", "Date", "Oxford", "01.02.2024", "4,5", "Total", "Customer", "worn", "E-mail"]
    ),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(cells, min_size=4, max_size=4), max_size=10))
def test_each_row_of_any_sheet_has_exactly_one_fate(rows):
    lines = tuple(range(1, len(rows) + 1))
    sheet = Sheet("a.xlsx", "page", tuple(tuple(row) for row in rows), lines)

    found = translate([sheet], {}, KnownNames(), TODAY)

    assert [fate.place.line for fate in found.fates] == list(lines)
    for name, frame in found.tables.items():
        assert len(frame) == len(found.origin[name])


def test_answers_are_kept_under_headers_and_not_under_rows():
    _, rows = page(days.WEAR_LOG)
    sheets = read_sheets("2024.csv", as_csv(rows))
    fewer = read_sheets("2025.csv", as_csv(rows[:3]))

    assert answers_for(sheets) == answers_for(fewer)
    assert answers_for(sheets) != answers_for(
        read_sheets("a.csv", as_csv([["x", "y"], ["1", "2"]]))
    )
