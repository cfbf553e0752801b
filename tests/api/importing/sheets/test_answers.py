"""Choices, questions and what the database knows change a translation as they say."""

from __future__ import annotations

from datetime import date

from solespan.api.services.importing.sheets.translate import read_sheets, translate
from solespan.api.services.importing.sheets.translation import KnownNames
from tests.api.importing.sheets.habits import TODAY, shop_of
from tests.api.importing.sheets.sheet_files import as_xlsx


def of(text: str, answers=None, known=None):
    sheets = read_sheets("a.csv", text.encode())
    return translate(sheets, answers or {}, known or KnownNames(), TODAY)


def column(found, header: str):
    return next(one for one in found.columns if one.header == header)


def test_a_choice_for_a_column_holds_and_the_others_give_way():
    text = "Shoe,Foo\nOxford,2024-01-01\n"
    key = column(of(text), "Foo").key

    found = of(text, {key: "soles.fitted_on"})

    assert list(found.tables["soles"]["fitted_on"]) == ["2024-01-01"]
    assert column(found, "Foo").target == "soles.fitted_on"
    assert column(found, "Foo").target in dict(column(found, "Foo").choices)
    moved = of("Shoe,Nickname\nOxford,Bob\n", {"column:/nickname": "pairs.label"})
    assert list(moved.tables["pairs"]["label"]) == ["Bob"]


def test_an_open_order_of_day_and_month_is_asked_once():
    text = "Bought,Resoled,Shoe\n01.10.2025,02.11.2025,Oxford\n"

    (question,) = of(text).questions

    assert question.words == "01.10.2025: day first?"
    other = next(choice for choice, _ in question.choices if choice != question.proposed)
    found = of(text, {question.key: other})
    assert list(found.tables["pairs"]["acquired_on"]) == ["2025-01-10"]


def test_a_later_row_decides_the_order():
    assert not of("Bought,Shoe\n01.10.2025,Oxford\n25.10.2025,Derby\n").questions


def test_a_unit_that_no_header_names_is_asked():
    text = "Shoe,Fitted,Thickness\nOxford,2024-01-31,9\nDerby,2024-02-20,10\n"

    found = of(text)

    assert [one.key for one in found.questions] == ["unit:thickness"]
    assert list(found.tables["soles"]["nominal_thickness_mm"]) == ["4.7625", "5.2917"]
    as_mm = of(text, {"unit:thickness": "mm"})
    assert list(as_mm.tables["soles"]["nominal_thickness_mm"]) == ["9", "10"]


def test_what_is_unknown_gets_a_default_that_is_listed():
    found = of("Shoe,Fitted\nOxford,2024-01-31\n")

    listed = {(one.table, one.column) for one in found.assumed}
    assert listed == {
        ("pairs", "construction"),
        ("soles", "material"),
        ("soles", "nominal_thickness_mm"),
    }
    for one in found.assumed:
        frame = found.tables[one.table]
        row = frame[frame[frame.columns[0]] == one.id].to_dict("records")[0]
        assert row[one.column] == one.value


def test_a_consent_that_is_not_plain_is_no_consent():
    rows = "Customer,E-mail,Consent\nAnn,a@example.org,yes\nBob,b@example.org,perhaps\n"

    found = of(rows)

    assert not found.consents
    (question,) = found.questions
    by_mail = of(rows, {question.key: "mail"})
    assert [one.wearer_id for one in by_mail.consents] == ["ann"]
    assert not of("Customer,E-mail,Reminders by email\nAnn,a@example.org,no\n").consents
    assert not of("Customer,E-mail\nAnn,a@example.org\n").consents


def test_wears_of_a_known_rack_refer_to_pairs_by_name_and_by_id():
    known = KnownNames({"w": "Ann"}, {"p1": "Black Oxford", "p2": "Derby"}, None, "w")

    found = of(
        "Date,Pair\n2024-01-02,black oxford\n2024-01-03,p2\n2024-01-04,Derbys\n", known=known
    )

    assert list(found.tables["wear_days"]["pair_id"]) == ["p1", "p2", "p2"]
    assert found.tables["pairs"].empty
    assert found.tables["soles"].empty
    assert [one.key for one in found.questions] == ["pair:derbys"]


def test_a_sole_that_the_database_knows_is_not_added_again():
    soles = {"p1": frozenset({date(2023, 1, 1)})}
    known = KnownNames({"w": "Ann"}, {"p1": "Oxford"}, None, "w", soles)

    found = of("Pair,Resoled\nOxford,2023-01-01; 2025-02-20\n", known=known)

    assert list(found.tables["soles"]["fitted_on"]) == ["2025-02-20"]


def test_customers_inherit_the_time_zone_of_the_shop():
    known = KnownNames(shop_time_zone="Europe/Vienna")

    found = of("Customer,Shoe,Time zone\nAnn,Oxford,\nBob,Boot,Europe/Paris\n", known=known)

    assert list(found.tables["wearers"]["time_zone"]) == ["Europe/Vienna", "Europe/Paris"]


def test_all_problems_of_a_row_are_told_at_once():
    text = "Pair,Date,Left mm,Right mm\nOxford,2027-01-01,4.5,4.4\nDerby,soon,99,4\n"

    found = of(text)

    refused = [fate for fate in found.fates if fate.fate == "refused"]
    assert [fate.place.line for fate in refused] == [2, 3]
    assert {problem.column for problem in refused[1].problems} == {"Date", "Left mm"}
    assert not len(found.tables["checks"])
    assert not len(found.tables["pairs"])


def test_a_shop_of_400_customers_needs_few_questions():
    habit = shop_of(400)

    found = translate(
        read_sheets("shop.xlsx", as_xlsx(habit.pages)), {}, KnownNames({}, {}, "UTC"), TODAY
    )

    assert len(found.questions) <= 10
    assert len(found.tables["soles"]) == 400
    assert len(found.consents) == habit.consents
    assert all(fate.fate == "taken" for fate in found.fates[1:])
