"""Habits of people: twenty sheets of shoes as persons keep them, and what each of them says.

All are invented. `counts` gives the rows of each table, `spots` some cells of single rows, and
`answers` the choices that a person must make; an empty mapping = none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from tests.api.importing.sheets.sheet_files import Cell, Merged, Rows

TODAY = date(2026, 11, 25)
ZERO = date(1899, 12, 30)


@dataclass(frozen=True)
class Habit:
    """One sheet or workbook, and what must come of it."""

    name: str
    pages: Mapping[str, Rows]
    counts: Mapping[str, int]
    spots: Sequence[tuple[str, Mapping[str, str]]] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    refused: int = 0
    consents: int = 0
    merged: Mapping[str, Merged] = field(default_factory=dict)


def _grid_row(label: str, marked: Mapping[int, Cell], width: int) -> list[Cell]:
    return [label, *(marked.get(n) for n in range(1, width + 1))]


LONG_LIST = Habit(
    "a list of pairs, in English, with prices and brands",
    {
        "Shoes": [
            ["My shoes"],
            [],
            ["Brand", "Model", "Colour", "Bought", "Price", "Sole", "Welt", "Size", "Resoled", "Notes"],
            ["Northgate", "oxford", "black", date(2018, 5, 4), "£350", "leather", "Goodyear", "42",
             "2021-03-04; 2023-01-10", "wedding"],
            ["Northgate", "derby", "brown", date(2019, 2, 1), "£295.50", "rubber", "Goodyear", "42 EU",
             None, None],
            ["Hillman", "loafer", "tan", "spring 2020", "£210", "leather", "Blake", "8 UK", None, None],
            ["Total", None, None, None, "£855.50"],
        ]
    },
    {"wearers": 1, "pairs": 3, "soles": 4},
    (
        ("pairs", {"label": "Northgate oxford black", "price_minor": "35000", "currency": "GBP"}),
        ("pairs", {"label": "Hillman loafer tan", "construction": "blake", "size_eu": ""}),
        ("soles", {"fitted_on": "2021-03-04", "removed_on": "2023-01-10"}),
        ("soles", {"pair_id": "northgate-derby-brown", "fitted_on": "2019-02-01",
                   "material": "rubber"}),
    ),
)  # fmt: skip

GERMAN_LIST = Habit(
    "a German list with decimal commas and two lines of header",
    {
        "Sammlung": [
            ["Schuh", None, "Kauf", None, "Sohle", None, None],
            ["Bezeichnung", "Machart", "Datum", "Preis", "Material", "Dicke", "neu besohlt am"],
            [
                "Oxford schwarz",
                "rahmengenäht",
                "03.04.2019",
                "389,00 €",
                "Leder",
                "5,2 mm",
                "12.11.2022",
            ],
            ["Derby braun", "durchgenäht", "25.12.2020", "1.250,00 €", "Gummi", "5,0 mm", "-"],
            ["Stiefel", "zwiegenäht", "1. März 2021", "490 €", "Profilsohle", "9,5 mm", "?"],
            ["Summe", None, None, "2129 €"],
        ]
    },
    {"wearers": 1, "pairs": 3, "soles": 3},
    (
        ("pairs", {"label": "Derby braun", "price_minor": "125000", "construction": "blake"}),
        ("pairs", {"label": "Stiefel", "acquired_on": "2021-03-01", "construction": "norwegian"}),
        ("soles", {"fitted_on": "2022-11-12", "nominal_thickness_mm": "5.2"}),
        ("soles", {"material": "lug_rubber", "nominal_thickness_mm": "9.5"}),
    ),
)

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

IRONS = Habit(
    "thicknesses in irons, in the header and in cells",
    {
        "soles": [
            ["Pair", "Sole fitted", "Sole type", "Thickness (iron)", "Resole at (iron)"],
            ["Captoe", date(2021, 5, 1), "oak bark", 9.0, 5.0],
            ["Wholecut", date(2022, 6, 1), "flexible leather", "8½", None],
        ]
    },
    {"wearers": 1, "pairs": 2, "soles": 2},
    (
        ("soles", {"nominal_thickness_mm": "4.7625", "limit_mm": "2.6458"}),
        ("soles", {"nominal_thickness_mm": "4.4979", "material": "flexible_leather"}),
    ),
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

MERGED = Habit(
    "customers whose name stands once for several pairs",
    {
        "Clients": [
            ["Client", "E-mail", "Chaussure", "Dernier ressemelage", "Semelle"],
            ["Anne Exemple", "anne@example.org", "Richelieu noir", "12/03/2023", "cuir"],
            [None, None, "Derby marron", "25/09/2024", "gomme"],
            ["Paul Modèle", "paul@example.org", "Bottines", "13/01/2022", "crantée"],
        ]
    },
    {"wearers": 2, "pairs": 3, "soles": 3},
    (
        ("pairs", {"label": "Derby marron", "wearer_id": "anne-exemple"}),
        ("soles", {"fitted_on": "2022-01-13", "material": "lug_rubber"}),
    ),
    merged={"Clients": [(1, 0, 2, 0), (1, 1, 2, 1)]},
)

REPAIRS = Habit(
    "a shop's list of repairs in Spanish",
    {
        "Reparaciones": [
            ["Nº orden", "Cliente", "Zapatos", "Arreglo", "Entrada", "Prometido", "Salida", "Precio"],
            ["101", "Ana Ejemplo", "Oxford negro", "suela entera", "13/02/2024", "20/02/2024",
             "22/02/2024", "95 €"],
            ["102", "Luis Muestra", "Botas", "tapas", "14/02/2024", "15/02/2024", "15/02/2024", "18 €"],
            ["103", "Ana Ejemplo", "Oxford negro", "tapas y punteras", "01/10/2025", None,
             "03/10/2025", "30,50 €"],
        ]
    },
    {"wearers": 2, "pairs": 2, "bench_jobs": 4},
    (
        ("bench_jobs", {"job_id": "101", "work": "full_sole", "returned_on": "2024-02-22"}),
        ("bench_jobs", {"job_id": "103", "work": "top_piece", "price_minor": "3050"}),
    ),
)  # fmt: skip

SHOP = Habit(
    "a shop's customers with consents, telephone and language",
    {
        "Kunden": [
            ["Kd.-Nr.", "Vorname", "Nachname", "E-Mail", "Telefon", "Sprache", "Letzte Besohlung",
             "Einwilligung E-Mail", "Einwilligung am"],
            [1001.0, "Anna", "Beispiel", "anna@example.org", "+43 1 2345678", "deutsch",
             date(2023, 3, 12), "ja", date(2022, 1, 1)],
            [1002.0, "Bert", "Muster", "bert@example.org", None, "it", date(2024, 11, 25), "nein", None],
            [1003.0, "Carla", "Probe", "carla at example", "0664/123 456", None, "11/2022", None, None],
        ]
    },
    {"wearers": 3, "pairs": 3, "soles": 3},
    (
        ("wearers", {"wearer_id": "1001", "name": "Anna Beispiel", "language": "de"}),
        ("wearers", {"wearer_id": "1003", "email": "", "phone": "0664/123 456"}),
        ("soles", {"fitted_on": "2022-11-15"}),
    ),
    consents=1,
)  # fmt: skip

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

LIST_OF_DAYS = Habit(
    "one row for each pair, with all its days in one cell",
    {
        "Gedragen": [
            ["Schoenen", "Gekocht", "Gedragen op"],
            ["Brogue", "13-05-2022", "01-03-2024; 04-03-2024; 15-03-2024"],
            ["Loafer", "20-06-2023", "02-03-2024, 05-03-2024"],
        ]
    },
    {"wearers": 1, "pairs": 2, "soles": 2, "wear_days": 5},
    (("wear_days", {"pair_id": "brogue", "worn_on": "2024-03-04"}),),
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

COUNTS = Habit(
    "counts of wears, and how often a week",
    {
        "Rack": [
            [
                "Pair",
                "Purchase date",
                "Times worn",
                "Wears per month",
                "Number of resoles",
                "Last resole",
            ],
            ["Oxford", date(2020, 1, 1), 150.0, None, 2.0, date(2024, 1, 1)],
            ["Derby", date(2021, 1, 1), None, 4.0, None, None],
        ]
    },
    {"wearers": 1, "pairs": 2, "soles": 2},
    (
        ("pairs", {"pair_id": "oxford", "earlier_resoles": "1", "wears_per_week": "0.417"}),
        ("pairs", {"pair_id": "derby", "wears_per_week": "0.9199"}),
    ),
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

HABITS = (
    LONG_LIST, GERMAN_LIST, MONTH_GRID, YEAR_OF_MONTHS, DAYS_DOWN, WEEKS, WEAR_LOG, DIARY, EVENT_LOG,
    MEASURES, IRONS, SERIALS, MERGED, REPAIRS, SHOP, WORKBOOK, LIST_OF_DAYS, DATED_COLUMNS, COUNTS,
    AMERICAN,
)  # fmt: skip


def shop_of(customers: int) -> Habit:
    """Return a shop's sheet of many customers, with resole dates, e-mails and consents."""
    rows: list[list[Cell]] = [["Customer", "E-mail", "Last resole", "Consent to email", "Phone"]]
    for n in range(customers):
        day = date(2021, 1, 5) + timedelta(days=(n * 37) % 1900)
        rows.append(
            [
                f"Customer {chr(65 + n % 26)} Number {n}",
                f"c{n}@example.org",
                day.strftime("%d/%m/%Y"),
                ("yes", "no", "")[n % 3],
                f"+44 20 7946 {n:04d}",
            ]
        )
    count = {"wearers": customers, "pairs": customers, "soles": customers}
    return Habit("a shop's many customers", {"Sheet1": rows}, count, consents=(customers + 2) // 3)
