"""What happens to what is typed into a form."""

import re
from datetime import date

import pytest

from solespan.api.routes.http.form_token import is_token
from solespan.api.storage.rack.records import list_records


def token(client) -> str:
    """Return the token that a page of ours put into its forms and into a cookie."""
    if "form_token" not in client.cookies:
        client.get("/pairs/pair-000")
    return client.cookies["form_token"]


def post(client, form, /, *, to="checks", pair_id="pair-000", **headers):
    return client.post(
        f"/pairs/{pair_id}/{to}",
        data={"form_token": token(client), **form},
        headers=headers,
        follow_redirects=False,
    )


def logged(client, name, **key):
    """Rows of `pair-000` as stored, with dates as text."""
    with client.app.state.services.database.reading() as session:
        rows = list_records(session, name, equal={"pair_id": "pair-000"}, limit=500)
    rows = [{k: v.isoformat() if isinstance(v, date) else v for k, v in r.items()} for r in rows]
    return [row for row in rows if all(row[k] == v for k, v in key.items())]


WEAR = {"worn_on": "2026-11-25", "surface": "pavement"}
THUMB = {
    "checked_on": "2026-11-25",
    "left-waist": "firm",
    "left-ball": "give",
    "left-toe": "skip",
    "right-ball": "soft",
}
READING = {
    "checked_on": "2026-11-25",
    "point": "ball",
    "method": "caliper",
    "left": "3,25",
    "right": "",
    "unit": "mm",
}


class TestGood:
    def test_a_wear_day_is_logged_and_the_browser_sent_back_to_the_page(self, client):
        answer = post(client, {**WEAR, "wet": "true", "hours": "6.5"}, to="wear-days")
        assert answer.status_code == 303
        assert answer.headers["location"] == "/pairs/pair-000?done=wear"
        (row,) = logged(client, "wear_days", worn_on="2026-11-25")
        assert (row["wet"], row["hours"], row["surface"]) == (True, 6.5, "pavement")
        page = client.get(answer.headers["location"]).text
        assert 'role="status">The wear day is logged.' in page

    def test_a_thumb_check_is_logged(self, client):
        assert post(client, THUMB, to="thumb").status_code == 303
        rows = logged(client, "checks", checked_on="2026-11-25")
        felt = {(row["foot"], row["point"]): row["grade"] for row in rows}
        assert felt == {
            ("left", "waist"): "firm",
            ("left", "ball"): "give",
            ("right", "ball"): "soft",
        }
        assert {row["method"] for row in rows} == {"thumb"}

    def test_both_shoes_are_measured_in_one_go(self, client):
        assert post(client, {**READING, "right": "3.1"}).status_code == 303
        rows = logged(client, "checks", checked_on="2026-11-25")
        assert {row["foot"]: row["value_mm"] for row in rows} == {"left": 3.25, "right": 3.1}

    def test_the_gauge_and_unit_used_last_are_offered_first(self, client):
        given = {**READING, "method": "depth_gauge", "unit": "iron", "left": "8", "sure": "true"}
        page = client.get(post(client, given).headers["location"]).text
        assert '<option value="depth_gauge" selected>' in page
        assert '<option value="iron" selected>' in page

    def test_a_thickness_may_have_a_decimal_comma(self, client):
        assert post(client, READING).status_code == 303
        (row,) = logged(client, "checks", checked_on="2026-11-25")
        assert row["value_mm"] == 3.25

    def test_irons_become_millimetres(self, client):
        """9 iron = 9/48 in = 4.7625 mm (ASTM D1814)."""
        thick = {**READING, "left": "9", "unit": "iron", "sure": "true"}
        assert post(client, thick).status_code == 303
        (row,) = logged(client, "checks", checked_on="2026-11-25")
        assert row["value_mm"] == pytest.approx(4.7625, abs=1e-4)

    def test_sending_the_same_twice_changes_nothing_and_says_so(self, client):
        post(client, WEAR, to="wear-days")
        answer = post(client, WEAR, to="wear-days")
        assert answer.headers["location"].endswith("done=same")
        assert len(logged(client, "wear_days", worn_on="2026-11-25")) == 1


class TestTaken:
    def test_another_value_on_a_logged_day_is_asked_about_and_not_lost(self, client):
        post(client, WEAR, to="wear-days")
        answer = post(client, {**WEAR, "hours": "3"}, to="wear-days")
        assert answer.status_code == 422
        assert "logged already" in answer.text
        assert 'name="replace"' in answer.text
        assert 'value="3"' in answer.text

    def test_it_is_replaced_when_the_reader_says_so(self, client):
        post(client, WEAR, to="wear-days")
        answer = post(client, {**WEAR, "hours": "3", "replace": "true"}, to="wear-days")
        assert answer.status_code == 303
        (row,) = logged(client, "wear_days", worn_on="2026-11-25")
        assert row["hours"] == 3


@pytest.mark.parametrize(
    ("to", "form", "field", "words"),
    [
        ("wear-days", {**WEAR, "worn_on": "2027-01-01"}, "w-worn_on", "future"),
        ("wear-days", {**WEAR, "worn_on": ""}, "w-worn_on", "give the day"),
        ("wear-days", {**WEAR, "worn_on": "1.2.2026"}, "w-worn_on", "YYYY-MM-DD"),
        ("wear-days", {**WEAR, "hours": "25"}, "w-hours", "from 0 to 24 h"),
        ("wear-days", {**WEAR, "hours": "nan"}, "w-hours", "from 0 to 24 h"),
        ("wear-days", {**WEAR, "steps": "2.5"}, "w-steps", "whole number"),
        ("checks", {**READING, "left": "52"}, "r-left", "from 0 to 40 mm"),
        ("checks", {**READING, "left": ""}, "r-left", "give the thickness"),
        ("checks", {**READING, "right": "thin"}, "r-right", "number"),
        ("checks", {**READING, "left": "x", "unit": "iron"}, "r-left", "number"),
        ("checks", {**READING, "left": "1e999", "unit": "iron"}, "r-left", "number"),
    ],
)
def test_what_cannot_be_true_is_said_beside_its_field_and_kept(reading, to, form, field, words):
    client = reading("6 pairs")
    before = [logged(client, name) for name in ("wear_days", "checks")]
    answer = post(client, form, to=to)
    assert answer.status_code == 422
    beside = re.search(rf'<p class="problem" id="{field}-problem">([^<]+)</p>', answer.text)
    assert beside, answer.text[:2000]
    assert words in beside.group(1)
    column = field.partition("-")[2]
    assert re.search(rf'id="{field}" name="{column}"[^>]* value="{form[column]}"', answer.text)
    assert [logged(client, name) for name in ("wear_days", "checks")] == before


def test_a_reading_without_its_point_gauge_or_day_names_each(reading):
    answer = post(reading("6 pairs"), {"left": "3.2", "unit": "mm"})
    assert answer.status_code == 422
    for words in ("say which point", "say which gauge", "give the day"):
        assert words in answer.text


def test_a_thumb_check_without_any_point_is_not_logged(reading):
    answer = post(reading("6 pairs"), {"checked_on": "2026-11-25"}, to="thumb")
    assert answer.status_code == 422
    assert "No point was felt" in answer.text


def test_an_invented_grade_is_refused_with_the_known_ones(client):
    answer = post(client, {**THUMB, "left-ball": "mushy"}, to="thumb")
    assert answer.status_code == 422
    assert "firm, give, soft, hole" in answer.text
    assert logged(client, "checks", checked_on="2026-11-25") == [], "not the good ones either"


def test_other_grades_of_the_same_day_are_asked_about_and_then_replaced(client):
    post(client, THUMB, to="thumb")
    other = {**THUMB, "left-ball": "soft"}
    answer = post(client, other, to="thumb")
    assert answer.status_code == 422
    assert 'name="replace"' in answer.text
    assert post(client, {**other, "replace": "true"}, to="thumb").status_code == 303
    (row,) = logged(client, "checks", checked_on="2026-11-25", foot="left", point="ball")
    assert row["grade"] == "soft"


@pytest.mark.parametrize("given", [{}, {"form_token": "guessed"}])
def test_a_form_without_the_token_of_this_browser_is_not_logged(client, given):
    client.get("/pairs/pair-000")
    before = logged(client, "wear_days")
    answer = client.post("/pairs/pair-000/wear-days", data={**WEAR, **given})
    assert answer.status_code == 422
    assert "send it again" in answer.text
    assert logged(client, "wear_days") == before


def test_a_form_from_another_site_is_refused(client):
    answer = post(client, WEAR, to="wear-days", **{"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403


def test_a_form_for_a_pair_that_is_gone_is_a_page_not_a_trace(client):
    answer = post(client, WEAR, to="wear-days", pair_id="nobody")
    assert answer.status_code == 404
    assert "nobody" in answer.text


@pytest.mark.parametrize("name", ["worn_on", "hours", "form_token", "surface"])
def test_very_long_and_odd_input_never_breaks_the_page(client, name):
    for text in ("x" * 5000, '"><script>alert(1)</script>', "\x00\x07", "é" * 300):
        answer = post(client, {**WEAR, name: text}, to="wear-days")
        assert answer.status_code in (303, 422)
        assert "<script>alert" not in answer.text


def test_a_pair_whose_id_is_not_plain_is_reached_by_its_quoted_address(client):
    services = client.app.state.services
    with services.database.writing() as session:
        session.connection().exec_driver_sql(
            "UPDATE pairs SET pair_id = 'a/b ?é\"' WHERE pair_id = 'pair-000'"
        )
    page = client.get("/").text
    address = next(a for a in re.findall(r'href="(/pairs/[^"]+)"', page) if "%2F" in a)
    assert client.get(address).status_code == 200
    quoted = address.removeprefix("/pairs/")
    assert client.get(f"/figures/wear_days/{quoted}.json").status_code == 200


def test_every_form_of_the_page_holds_the_token_of_this_browser(client):
    page = client.get("/pairs/pair-000").text
    kept = client.cookies["form_token"]
    given = re.findall(r'name="form_token" value="([^"]+)"', page)
    assert len(given) == page.count('method="post"')
    assert all(is_token(one, kept) for one in given)
