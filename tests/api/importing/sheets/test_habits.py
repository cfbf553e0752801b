"""Sheets as people keep them come in without an edit of the file, and each row has one fate."""

from __future__ import annotations

import pytest

from solespan.api.services.importing.sheets.translate import read_sheets, translate
from solespan.api.services.importing.sheets.translation import KnownNames
from tests.api.importing.sheets.habits import HABITS, TODAY, Habit
from tests.api.importing.sheets.sheet_files import as_xlsx

MOST_CHOICES = 8


def read(habit: Habit):
    sheets = read_sheets("book.xlsx", as_xlsx(habit.pages, habit.merged))
    return sheets, translate(sheets, habit.answers, KnownNames(), TODAY)


@pytest.mark.parametrize("habit", HABITS, ids=lambda habit: habit.name)
def test_a_sheet_of_this_habit_comes_in(habit):
    sheets, found = read(habit)

    assert len(habit.answers) <= MOST_CHOICES
    assert len(found.questions) <= 10
    counts = {name: len(frame) for name, frame in found.tables.items()}
    assert {**counts, **habit.counts} == counts
    for table, cells in habit.spots:
        rows = found.tables[table].to_dict("records")
        assert any({**row, **cells} == row for row in rows), (table, cells, rows)
    assert sum(fate.fate == "refused" for fate in found.fates) == habit.refused
    assert len(found.consents) == habit.consents
    places = [fate.place for fate in found.fates]
    assert len(set(places)) == len(places) == sum(len(sheet.rows) for sheet in sheets)
