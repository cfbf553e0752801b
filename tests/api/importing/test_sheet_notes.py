"""Does free text of a sheet go to the notes, once, within bounds, and out again as it is?"""

from __future__ import annotations

import pytest

from solespan.api.services.accounts.customer_record import customer_record
from solespan.api.services.importing.exports import export_folder
from solespan.api.services.importing.files.sheet_notes import CUT, merged
from solespan.api.services.importing.imports import import_folder
from solespan.api.services.rack import records
from tests.api.importing.test_file_imports import CLOCK, Desk
from tests.api.importing.workbooks import text

SHOES = [
    ["Kunde", "Schuh", "Gekauft am", "Sohle", "Bemerkungen", "Weite"],
    ["Anna Beispiel", "Oxford", "13.10.2024", "Leder", "=links drückt", "F"],
    ["Anna Beispiel", "Derby", "13.10.2023", "Gummi", None, None],
]
LOG = [
    ["Datum", "Schuh", "Was", "Notiz"],
    ["14.10.2025", "Oxford", "getragen", "Regen"],
    ["15.10.2025", "Oxford", "getragen", "Regen"],
    ["16.10.2025", "Derby", "getragen", None],
]
NOTES = {"Oxford": "=links drückt\nWeite: F\n2025-10-14: Regen\n2025-10-15: Regen", "Derby": ""}


@pytest.fixture
def desk(folder, tmp_path) -> Desk:
    return Desk(folder, tmp_path)


def _notes(desk: Desk) -> dict[str, str]:
    with desk.database.reading() as session:
        rows = records.list_records(session, "pairs", equal={}, limit=10)
    return {row["label"]: row["notes"] or "" for row in rows}


def test_text_goes_to_the_notes_of_its_pair_once(desk):
    for _ in range(2):
        desk.take(("shoes.csv", text(SHOES, ";", "cp1252")))
        done = desk.take(("log.csv", text(LOG, ";", "cp1252")))
    assert _notes(desk) == NOTES
    assert not done.report.changed


def test_notes_that_a_person_wrote_stay(desk):
    desk.take(("shoes.csv", text(SHOES, ";")))
    key = {"pair_id": "anna-beispiel-derby"}
    with desk.database.writing() as session:
        row = records.read(session, "pairs", key)
        amended = {"notes": "my own\n\ntwo lines", "construction": row["construction"]}
        records.replace(session, "pairs", key, amended, versions=None, clock=CLOCK)
    desk.take(("shoes.csv", text(SHOES, ";")), ("log.csv", text(LOG, ";")))
    assert _notes(desk) == NOTES | {"Derby": "my own\n\ntwo lines"}


def test_text_about_a_wearer_alone_goes_to_the_wearer(desk):
    sheet = [["Name", "E-mail", "Notes"], ["Anna", "anna@example.org", "rings first"]]
    desk.take(("people.csv", text(sheet)))
    with desk.database.reading() as session:
        (row,) = records.list_records(session, "wearers", equal={}, limit=10)
    assert row["notes"] == "rings first"
    held = customer_record(type("C", (), {"database": desk.database, "clock": CLOCK}), "anna")
    assert held["held"]["wearers"][0]["notes"] == "rings first"


def test_an_export_with_notes_comes_back_equal(desk, tmp_path):
    desk.take(("shoes.csv", text(SHOES, ";")), ("log.csv", text(LOG, ";")))
    export_folder(desk.database, tmp_path / "out")
    report = import_folder(desk.database, tmp_path / "out", today=CLOCK.today)
    assert report.written
    assert not report.changed


@pytest.mark.parametrize("length", [5, 300, 5000])
def test_notes_are_bounded_and_repeat(length):
    texts = [f"{n}: " + "x" * length for n in range(40)]
    whole, is_cut = merged("", texts)
    assert len(whole) <= 2000
    assert is_cut is (CUT in whole)
    assert is_cut is (length > 5)
    assert merged(whole, texts) == (whole, is_cut)


def test_full_notes_of_a_person_stay():
    assert merged("y" * 1990, ["more"]) == ("y" * 1990, True)


def test_names_that_end_in_a_number_are_names(desk):
    log = [["Datum", "Schuh"], *([f"{1 + n % 28}.10.2025", f"Paar {n}"] for n in range(80))]
    report = desk.take(("log.csv", text(log, ";"))).report
    assert (report.counts["pairs"].new, report.refused) == (80, 0)
