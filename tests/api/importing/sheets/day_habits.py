"""Day habits: sheets of what happened on which day, as lists, calendars and texts."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from tests.api.importing.sheets.habit import Habit
from tests.api.importing.sheets.sheet_files import ZERO, Cell


def _grid_row(label: str, marked: Mapping[int, Cell], width: int) -> list[Cell]:
    return [label, *(marked.get(n) for n in range(1, width + 1))]


MONTH_GRID = Habit(
    "a month with pairs down, days across and marks",
    {
        "March 2024": [
            ["Rotation March 2024"],
            ["Pair", *(float(n) for n in range(1, 32))],
            _grid_row("Black oxford", {1: "x", 5: "x", 31: "X"}, 31),
            _grid_row("Brown derby", {2: "✓", 4: 1.0}, 31),
            _grid_row("Tan loafer", {}, 31),
        ]
    },
    {"wearers": 1, "pairs": 3, "wear_days": 5},
    (("wear_days", {"pair_id": "black-oxford", "worn_on": "2024-03-31"}),),
)

YEAR_OF_MONTHS = Habit(
    "one page for each month, with the same pairs, and hours in the cells",
    {
        f"{name} 2025": [
            ["Schuh", *(f"{n}." for n in range(1, 29))],
            _grid_row("Oxford", dict.fromkeys(range(1, 29, 7), 8.0), 28),
            _grid_row("Derby", dict.fromkeys(range(3, 29, 7), "4,5"), 28),
        ]
        for name in ("Januar", "Februar", "März")
    },
    {"wearers": 1, "pairs": 2, "wear_days": 24},
    (("wear_days", {"pair_id": "derby", "worn_on": "2025-03-03", "hours": "4.5"}),),
)

DAYS_DOWN = Habit(
    "days down, pairs across, with the weather beside them",
    {
        "Trageliste": [
            ["Datum", "Oxford schwarz", "Derby braun", "Chelsea", "Regen"],
            ["01.03.2024", "x", None, None, "ja"],
            ["02.03.2024", None, "x", None, None],
            ["15.03.2024", None, None, "x", "nein"],
            ["16.03.2024", None, None, None, None],
        ]
    },
    {"wearers": 1, "pairs": 3, "wear_days": 3},
    (
        ("wear_days", {"pair_id": "oxford-schwarz", "worn_on": "2024-03-01", "wet": "true"}),
        ("wear_days", {"pair_id": "chelsea", "worn_on": "2024-03-15", "wet": "false"}),
    ),
)

WEEKS = Habit(
    "weeks down, weekdays across, names of pairs in the cells",
    {
        "2025": [
            ["Week of", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"],
            [date(2025, 3, 3), "oxford", "derby", "oxford", "-", "derby", None, "boots"],
            [date(2025, 3, 10), "derby", "oxford", "derby", "oxford", "derby", "boots", None],
        ]
    },
    {"wearers": 1, "pairs": 3, "wear_days": 11},
    (("wear_days", {"pair_id": "boots", "worn_on": "2025-03-09"}),),
)

WEAR_LOG = Habit(
    "a wear log in Italian with days as text",
    {
        "Diario": [
            ["Data", "Scarpa", "Ore", "Pioggia", "Note"],
            ["1 marzo 2024", "Oxford nera", 8.0, "no", None],
            ["2 marzo 2024", "Derby marrone", "4:30", "sì", "lungo viaggio"],
            ["14 marzo 2024", "Oxford nera", "8 ore", None, None],
        ]
    },
    {"wearers": 1, "pairs": 2, "wear_days": 3},
    (("wear_days", {"pair_id": "derby-marrone", "hours": "4.5", "wet": "true"}),),
)

DIARY = Habit(
    "lines of free text",
    {
        "": [
            ["2024-03-01 wore brown derby, rain"],
            ["2024-03-02 wore black oxford 8h"],
            ["2024-03-09: measured brown derby left 4.2 right 4.0"],
            ["2024-04-01 brown derby resoled"],
            ["2024-04-20 wore brown derby"],
        ]
    },
    {"wearers": 1, "pairs": 2, "soles": 3, "wear_days": 3, "checks": 2},
    (
        ("soles", {"pair_id": "brown-derby", "removed_on": "2024-04-01"}),
        ("checks", {"foot": "right", "value_mm": "4", "point": "ball"}),
    ),
)

EVENT_LOG = Habit(
    "one log for all that happens, with a column for what it was",
    {
        "Log": [
            ["Date", "Shoes", "What", "Left", "Right", "Comment"],
            [date(2022, 1, 10), "Monk", "bought", None, None, None],
            [date(2023, 2, 3), "Monk", "worn", None, None, None],
            [date(2023, 2, 20), "Monk", "measured", 4.6, 4.4, "with caliper"],
            [date(2024, 6, 1), "Monk", "new soles", None, None, None],
            [date(2024, 7, 1), "Monk", "heel taps", None, None, None],
        ]
    },
    {"wearers": 1, "pairs": 1, "soles": 2, "wear_days": 1, "checks": 2, "bench_jobs": 2},
    (
        ("pairs", {"acquired_on": "2022-01-10"}),
        ("checks", {"foot": "left", "value_mm": "4.6", "checked_on": "2023-02-20"}),
        ("soles", {"fitted_on": "2024-06-01"}),
    ),
)

MEASURES = Habit(
    "measures with two header lines, feet above points, and a line of means",
    {
        "Messungen": [
            ["Schuh", "Datum", "Links", None, "Rechts", None],
            [None, None, "Ballen", "Absatz", "Ballen", "Absatz"],
            ["Oxford", date(2024, 3, 1), 4.5, 6.0, 4.4, 5.9],
            ["Derby", date(2024, 3, 1), 4.2, None, 4.1, None],
            ["Mittelwert", None, 4.35, 6.0, 4.25, 5.9],
        ]
    },
    {"wearers": 1, "pairs": 2, "checks": 6},
    (("checks", {"pair_id": "oxford", "foot": "right", "point": "heel", "value_mm": "5.9"}),),
    merged={"Messungen": [(0, 2, 0, 3), (0, 4, 0, 5), (0, 0, 1, 0)]},
)

SERIALS = Habit(
    "days as serial numbers",
    {
        "wears": [
            ["shoe", "date"],
            ["boot", float((date(2024, 1, 5) - ZERO).days)],
            ["boot", str((date(2024, 1, 9) - ZERO).days)],
            ["shoe two", float((date(2024, 1, 10) - ZERO).days)],
        ]
    },
    {"wearers": 1, "pairs": 2, "wear_days": 3},
    (("wear_days", {"pair_id": "boot", "worn_on": "2024-01-09"}),),
)

WORKBOOK = Habit(
    "a workbook of pairs, wears and measures that refer to each other by name",
    {
        "Pairs": [
            ["Name", "Construction", "Sole", "New on"],
            ["Black Oxford", "Goodyear", "leather", date(2020, 1, 2)],
            ["Brown Derby", "Blake", "rubber", date(2021, 1, 2)],
        ],
        "Wears": [
            ["Date", "Pair"],
            [date(2024, 5, 1), "black oxford"],
            [date(2024, 5, 2), "Brown derbys"],
            [date(2024, 5, 3), "Black Oxford"],
        ],
        "Thickness": [
            ["Pair", "Date", "Foot", "Point", "mm"],
            ["Black Oxford", date(2024, 6, 1), "L", "ball", 4.2],
            ["Black Oxford", date(2024, 6, 1), "R", "ball", 4.3],
        ],
    },
    {"wearers": 1, "pairs": 2, "soles": 2, "wear_days": 3, "checks": 2},
    (("wear_days", {"pair_id": "brown-derby", "worn_on": "2024-05-02"}),),
)

DATED_COLUMNS = Habit(
    "a thickness for each visit, with the day in the header",
    {
        "Sole thickness (mm)": [
            ["Shoe", date(2024, 1, 15), date(2024, 6, 15), date(2025, 1, 15)],
            ["Oxford", 5.0, 4.6, 4.1],
            ["Derby", 4.8, None, 4.0],
        ]
    },
    {"wearers": 1, "pairs": 2, "checks": 10},
    (("checks", {"pair_id": "derby", "checked_on": "2025-01-15", "value_mm": "4"}),),
)

AMERICAN = Habit(
    "an American log with months first, and headings between the rows",
    {
        "Log": [
            ["Date", "Shoes", "Hours", "Miles"],
            ["JANUARY"],
            ["01/15/2024", "Wingtip", 8.0, 3.0],
            ["01/16/2024", "Loafer", 6.0, 2.5],
            ["FEBRUARY"],
            ["02/01/2024", "Wingtip", 8.0, 3.0],
            ["02/31/2024", "Wingtip", 8.0, 3.0],
        ]
    },
    {"wearers": 1, "pairs": 2, "wear_days": 3},
    (("wear_days", {"worn_on": "2024-02-01"}),),
    refused=1,
)
