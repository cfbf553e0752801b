"""List habits: sheets with a row for each pair, customer or repair."""

from __future__ import annotations

from datetime import date

from tests.api.importing.sheets.habit import Habit

LONG_LIST = Habit(
    "a list of pairs, in English, with prices and brands",
    {
        "Shoes": [
            ["My shoes"],
            [],
            ["Brand", "Model", "Colour", "Bought", "Price", "Sole",
             "Welt", "Size", "Resoled", "Notes"],
            ["Norwend", "oxford", "black", date(2018, 5, 4), "£350", "leather", "Goodyear", "42",
             "2021-03-04; 2023-01-10", "wedding"],
            ["Norwend", "derby", "brown", date(2019, 2, 1), "£295.50", "rubber",
             "Goodyear", "42 EU",
             None, None],
            ["Hallbury", "loafer", "tan", "spring 2020", "£210",
             "leather", "Blake", "8 UK", None, None],
            ["Total", None, None, None, "£855.50"],
        ]
    },
    {"wearers": 1, "pairs": 3, "soles": 4},
    (
        ("pairs", {"label": "Norwend oxford black", "price_minor": "35000", "currency": "GBP"}),
        ("pairs", {"label": "Hallbury loafer tan", "construction": "blake", "size_eu": ""}),
        ("soles", {"fitted_on": "2021-03-04", "removed_on": "2023-01-10"}),
        ("soles", {"pair_id": "norwend-derby-brown", "fitted_on": "2019-02-01",
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
            ["Nº orden", "Cliente", "Zapatos", "Arreglo",
             "Entrada", "Prometido", "Salida", "Precio"],
            ["101", "Ana Ejemplo", "Oxford negro", "suela entera", "13/02/2024", "20/02/2024",
             "22/02/2024", "95 €"],
            ["102", "Luis Muestra", "Botas", "tapas", "14/02/2024",
             "15/02/2024", "15/02/2024", "18 €"],
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
            [1002.0, "Bert", "Muster", "bert@example.org", None, "it",
             date(2024, 11, 25), "nein", None],
            [1003.0, "Carla", "Probe", "carla at example", "0664/123 456",
             None, "11/2022", None, None],
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
