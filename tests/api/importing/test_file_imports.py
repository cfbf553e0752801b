"""Does any ordinary table become the right rows, with each choice kept and no row lost?"""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta

import pytest

from solespan.api.clock import Clock
from solespan.api.errors import BadUpload, Refused, TooLarge
from solespan.api.schemas.notices.consents import ConsentWithdrawn
from solespan.api.schemas.shop import ShopChoices
from solespan.api.services.importing.files import sheet_tables
from solespan.api.services.importing.files.file_imports import (
    ImportChoices,
    OpenQuestions,
    import_given,
)
from solespan.api.services.importing.files.rest_files import WHY, write_rest
from solespan.api.services.importing.uploads import lay_out
from solespan.api.services.notices.consents import withdraw
from solespan.api.services.rack import records
from solespan.api.services.shop_choices import change_shop_choices
from solespan.api.storage.importing.import_runs import list_imports
from solespan.api.storage.notices.consents import held_consents
from tests.api.importing.workbooks import text, xlsx, zipped

CLOCK = Clock(lambda: datetime(2026, 11, 25, 12, tzinfo=UTC))
HEAD = ["Date", "Shoe", "Hours", "Wet"]
SHOES = ["Brown derby", "Black oxford", "Grün boot"]
LOG = [
    HEAD,
    *(
        [date(2026, 3, 1) + timedelta(days=n), SHOES[n % 3], 7.5 + n % 3, "yes" if n % 4 else "no"]
        for n in range(40)
    ),
]
SHOP = [
    ["Customer no", "Name", "E-mail", "Telephone", "Language", "E-mail consent", "Shoe", "Sole"],
    ["K1", "Ann Moss", "ann@example.org", "+43 1 2345", "de", "yes", "Derby", "leather"],
    ["K2", "Bob Reed", "bob@example.org", "", "en", "no", "Oxford", "rubber"],
]
FORMS = {
    "log.csv": text(LOG),
    "semicolons.csv": text(LOG, ";", "cp1252"),
    "marked.csv": text(LOG, ";", "utf-8-sig"),
    "book.xlsx": xlsx({"Log": LOG}),
    "packed.zip": zipped({"folder/log.csv": text(LOG)}),
}


class Desk:
    """Imports files into one database; `folder` is the small interchange folder's fixture."""

    def __init__(self, folder, path) -> None:
        self.folder, self.path = folder, path
        self.database = folder.database
        self.count = 0

    def take(self, *files, rehearse=False, keep=False, proposals=True, consent=True, answers=()):
        self.count += 1
        work = self.path / str(self.count)
        (work / "given").mkdir(parents=True)
        streams = [(name, io.BytesIO(data)) for name, data in files]
        return import_given(
            self.database,
            lay_out(streams, work / "given", limit_bytes=10**7),
            work,
            clock=CLOCK,
            source="a test",
            choices=ImportChoices(dict(answers), proposals, keep, may_consent=consent),
            limit_bytes=10**7,
            rehearse=rehearse,
        )

    def stored(self):
        return self.folder.stored()


@pytest.fixture
def desk(folder, tmp_path):
    return Desk(folder, tmp_path)


def changed(rows, *cells):
    """Return rows with some cells replaced: (row, column, value) each."""
    out = [[*row] for row in rows]
    for row, column, value in cells:
        out[row][column] = value
    return out


def places(done):
    return [
        (one.file, one.line, one.column) for one in done.report.rows if one.severity == "refused"
    ]


@pytest.mark.parametrize("name", FORMS)
def test_every_form_of_one_log_gives_the_same_rows(desk, name):
    done = desk.take((name, FORMS[name]))
    assert done.report.written
    stored = desk.stored()
    assert {row["label"] for row in stored["pairs"]} == set(SHOES)
    days = {(row["pair_id"], row["hours"], row["wet"]) for row in stored["wear_days"]}
    assert len(stored["wear_days"]) == 40
    assert {wet for *_, wet in days} == {True, False}
    assert {hours for _, hours, _ in days} == {7.5, 8.5, 9.5}


def test_files_of_the_interchange_folder_skip_the_choices(desk):
    texts = [(f"{name}.csv", data.encode()) for name, data in desk.folder.texts.items()]
    done = desk.take(*texts, proposals=False)
    assert done.reading is None
    assert done.report.written
    assert len(desk.stored()["checks"]) == 2


def test_a_file_named_like_a_table_with_headings_of_its_own_is_read_as_a_sheet(desk):
    done = desk.take(("pairs.csv", text([["Shoe", "Bought"], ["Derby", date(2025, 2, 3)]])))
    assert done.reading is not None
    assert [row["label"] for row in desk.stored()["pairs"]] == ["Derby"]


def test_a_rehearsal_changes_nothing(desk):
    done = desk.take(("log.csv", FORMS["log.csv"]), rehearse=True)
    assert done.report.changed
    assert not done.report.written
    assert not any(desk.stored().values())


def test_the_same_sheet_again_changes_nothing_and_a_correction_stays(desk):
    first = desk.take(("log.csv", FORMS["log.csv"]))
    assumed = {(one["table"], one["column"]) for one in first.report.assumed}
    assert ("soles", "material") in assumed
    with desk.database.writing() as session:
        sole = desk.stored()["soles"][0]
        values = {**sole, "material": "rubber", "fitted_on": date(2026, 2, 1), "limit_mm": 1.5}
        values["removed_on"] = None
        key = {"sole_id": values.pop("sole_id")}
        values.pop("pair_id")
        records.replace(session, "soles", key, values, versions=None, clock=CLOCK)
    before = str(desk.stored())
    again = desk.take(("log.csv", FORMS["log.csv"]))
    assert again.report.changed == 0
    assert str(desk.stored()) == before
    assert not [one for one in again.report.assumed if one["id"] == key["sole_id"]]
    grown = [*LOG, [date(2026, 5, 1), SHOES[0], 8, "no"]]
    assert desk.take(("log.csv", text(grown))).report.changed == 1


def test_a_finding_names_the_sheet_the_line_and_the_heading_of_the_person(desk):
    rows = changed(LOG, (5, 0, "31.31.2026"), (5, 2, 99), (9, 0, date(2027, 1, 1)))
    done = desk.take(("book.xlsx", xlsx({"Log": rows})))
    assert not done.report.written
    assert not any(desk.stored().values())
    assert places(done)[:2] == [
        ("book.xlsx, sheet Log", 6, "Date"),
        ("book.xlsx, sheet Log", 6, "Hours"),
    ], "all problems of a row at once"
    assert {line for _, line, _ in places(done)} == {6, 10}
    by_line = {fate.place.line: fate for fate in done.fates}
    assert [by_line[n].fate for n in (2, 6, 10)] == ["taken", "refused", "refused"]
    assert len(done.fates) == len(rows)


def test_a_file_can_be_taken_half_and_the_rest_corrected_and_taken_later(desk, tmp_path):
    rows = changed(LOG, (5, 0, "31.31.2026"), (9, 2, 99))
    done = desk.take(("log.csv", text(rows)), keep=True)
    assert done.report.written
    assert len(desk.stored()["wear_days"]) == 38
    (rest,) = write_rest(done.reading.sheets, done.fates, tmp_path)
    assert rest["rows"] == 2
    with (tmp_path / rest["path"]).open(newline="", encoding="utf-8-sig") as stream:
        written = [*csv.reader(stream)]
    assert written[0] == [*HEAD, WHY]
    assert all(row[-1] for row in written)
    right = changed(written, (1, 0, LOG[5][0]), (2, 2, LOG[9][2]))
    assert desk.take(("rest.csv", text(right))).report.written
    assert len(desk.stored()["wear_days"]) == 40


def test_what_is_open_is_refused_until_it_is_answered_and_then_kept(desk):
    days = [["Date", "Shoe"], ["03/04/2026", "Derby"], ["05/06/2026", "Derby"]]
    with pytest.raises(OpenQuestions) as caught:
        desk.take(("log.csv", text(days)), proposals=False)
    assert not any(desk.stored().values())
    (question,) = caught.value.questions
    assert caught.value.extensions["questions"][0]["key"] == question.key
    with pytest.raises(Refused, match="no choice"):
        desk.take(("log.csv", text(days)), answers={question.key: "perhaps"})
    month_first = next(value for value, _ in question.choices if "month" in value)
    done = desk.take(("log.csv", text(days)), proposals=False, answers={question.key: month_first})
    assert done.report.written
    worn = {str(row["worn_on"])[:10] for row in desk.stored()["wear_days"]}
    assert worn == {"2026-03-04", "2026-05-06"}
    later = [*days, ["07/08/2026", "Derby"]]
    assert desk.take(("other.csv", text(later)), proposals=False).reading.known_before
    assert len(desk.stored()["wear_days"]) == 3


def test_consents_and_what_a_customer_says_come_along(desk):
    done = desk.take(("shop.csv", text(SHOP)))
    assert done.report.written
    ann, bob = desk.stored()["wearers"]
    assert (ann["name"], ann["phone"], ann["language"]) == ("Ann Moss", "+43 1 2345", "de")
    with desk.database.reading() as session:
        held = held_consents(session, ["K1", "K2"])
    assert held.keys() == {ann["wearer_id"]}
    assert held["K1"].keys() == {"mail"}
    assert bob["language"] == "en"


def test_a_sender_who_may_not_take_consents_brings_none_and_is_told(desk):
    done = desk.take(("shop.csv", text(SHOP)), consent=False)
    assert done.report.written
    assert [one.column for one in done.report.rows] == ["consent"]
    with desk.database.reading() as session:
        assert held_consents(session, ["K1"]) == {}


def test_a_consent_that_was_withdrawn_does_not_come_back(desk):
    desk.take(("shop.csv", text(SHOP)))
    with desk.database.writing() as session:
        withdraw(session, ConsentWithdrawn(wearer_id="K1", channel="mail"), CLOCK)
    desk.take(("shop.csv", text(SHOP)))
    with desk.database.reading() as session:
        assert held_consents(session, ["K1"]) == {}


def test_customers_of_a_sheet_inherit_the_time_zone_of_the_shop(desk):
    with desk.database.writing() as session:
        change_shop_choices(session, ShopChoices(time_zone="Europe/Vienna"), None)
    desk.take(("shop.csv", text(SHOP)))
    assert {row["time_zone"] for row in desk.stored()["wearers"]} == {"Europe/Vienna"}


def test_wears_of_a_pair_that_is_known_go_to_that_pair(desk):
    texts = [(f"{name}.csv", data.encode()) for name, data in desk.folder.texts.items()]
    desk.take(*texts)
    worn = [["Date", "Shoe"], [date(2026, 3, 4), "Oxford"], [date(2026, 3, 5), "oxford"]]
    desk.take(("log.csv", text(worn)))
    stored = desk.stored()
    assert len(stored["pairs"]) == len(stored["soles"]) == 1
    assert len(stored["wear_days"]) == 4


def test_an_import_of_a_sheet_leaves_one_record_with_what_was_assumed(desk):
    desk.take(("log.csv", FORMS["log.csv"]))
    with desk.database.reading() as session:
        (run,) = list_imports(session, after=None, limit=5)
    assert run["counts"]["wear_days"]["new"] == 40


def test_files_without_a_row_about_shoes_are_refused(desk):
    with pytest.raises(OpenQuestions):
        desk.take(("notes.txt", b"hello\n"), proposals=False)
    with pytest.raises(BadUpload):
        desk.take(("picture.csv", b"\x89PNG\r\n\x1a\n\0\0\0"))
    with pytest.raises(BadUpload):
        desk.take(("empty.csv", b" \n"))


def test_sheets_that_are_too_large_are_refused_unread(desk, monkeypatch):
    monkeypatch.setattr(sheet_tables, "SHEET_LIMIT_BYTES", 1000)
    with pytest.raises(TooLarge):
        desk.take(("log.csv", FORMS["log.csv"]))


def test_what_a_sheet_says_anew_of_a_customer_is_taken_and_the_rest_stays(desk):
    desk.take(("shop.csv", text(SHOP)))
    moved = changed(SHOP, (1, 3, "+43 1 9999"), (1, 4, ""))
    assert desk.take(("shop.csv", text(moved))).report.changed == 1
    ann = desk.stored()["wearers"][0]
    assert (ann["phone"], ann["language"]) == ("+43 1 9999", "de")
