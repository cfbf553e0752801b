"""Does a person see how a table is read, choose, and take it, without a script?"""

from __future__ import annotations

import csv
import io
import re

import pytest

from solespan.api.services.importing import import_desk
from tests.api.importing.workbooks import text, xlsx
from tests.api.rack.test_adding import post, rows
from tests.api.rack.test_forms import token

OPEN = text([["Date", "Shoe", "Hours"], ["03/04/2026", "Walnut", 8], ["05/06/2026", "Walnut", 7]])
HALF = text([["Date", "Shoe", "Hours"], ["2026-03-04", "Walnut", 8], ["2026-03-55", "Walnut", 99]])


@pytest.fixture(autouse=True)
def own_desk(monkeypatch, tmp_path):
    monkeypatch.setattr(import_desk.tempfile, "gettempdir", lambda: str(tmp_path))


def send(client, name, data):
    answer = client.post(
        "/import",
        data={"form_token": token(client)},
        files=[("files", (name, data))],
        follow_redirects=False,
    )
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def choices(page):
    """Return what a browser would send: the ticked radio buttons and the chosen options."""
    ticked = re.findall(r'type="radio" name="([^"]+)" value="([^"]*)" checked', page)
    selects = re.findall(r'<select name="([^"]+)".*?</select>', page, re.DOTALL)
    chosen = re.findall(r'<select name="[^"]+".*?<option value="([^"]*)" selected', page, re.DOTALL)
    return dict(ticked) | dict(zip(selects, chosen, strict=True))


def worn_on(client, label="Walnut"):
    pairs = [row["pair_id"] for row in rows(client, "pairs") if row["label"] == label]
    days = [row for pair in pairs for row in rows(client, "wear_days", pair_id=pair)]
    return sorted(str(row["worn_on"]) for row in days)


def test_a_choice_that_changes_the_reading_is_shown_before_anything_is_taken(client):
    waiting = send(client, "log.csv", OPEN)
    page = client.get(waiting).text
    assert "How we read it" in page
    given = choices(page)
    field, order = re.search(r'name="(q-\d)" value="(month[^"]*)"', page).groups()
    assert given[field] != order
    answer = post(client, waiting, given | {field: order, "decision": "all"})
    assert answer.headers["location"] == f"{waiting}?done=read"
    assert worn_on(client) == [], "rows that nobody saw are not taken"
    page = client.get(f"{waiting}?done=read").text
    assert "Read again with your choices" in page
    assert post(client, waiting, choices(page) | {"decision": "all"}).status_code == 303
    assert worn_on(client) == ["2026-03-04", "2026-05-06"]
    assert "Taken:" in client.get(waiting).text
    assert "used again" in client.get(send(client, "next.csv", OPEN)).text


def test_a_column_can_be_left_out(client):
    waiting = send(client, "log.csv", OPEN)
    given = choices(client.get(waiting).text)
    post(client, waiting, given | {"c-2": "ignore", "decision": "read"})
    post(client, waiting, choices(client.get(waiting).text) | {"decision": "all"})
    (pair,) = [row["pair_id"] for row in rows(client, "pairs") if row["label"] == "Walnut"]
    assert {row["hours"] for row in rows(client, "wear_days", pair_id=pair)} == {None}


def test_the_good_half_is_taken_and_the_rest_is_a_file_to_correct(client):
    waiting = send(client, "log.csv", HALF)
    page = client.get(waiting).text
    assert "1 to take, 1 to correct" in page
    assert "log.csv, line 3" in page
    assert "2026-03-55" in page
    assert "99" in page, "all problems of a row at once"
    assert 'value="all"' not in page
    rest = client.get(f"{waiting}/rest-0.csv")
    assert "attachment" in rest.headers["content-disposition"]
    head, row = csv.reader(io.StringIO(rest.content.decode("utf-8-sig")))
    assert head[:3] == ["Date", "Shoe", "Hours"]
    assert row[:3] == ["2026-03-55", "Walnut", "99"]
    assert client.get(f"{waiting}/rest-1.csv").status_code == 404
    every = [*csv.DictReader(io.StringIO(client.get(f"{waiting}/rows.csv").text))]
    assert [(row["line"], row["fate"]) for row in every] == [("2", "taken"), ("3", "refused")]
    assert every[0]["becomes"]
    post(client, waiting, choices(page) | {"decision": "all"})
    assert worn_on(client) == [], "all or nothing means nothing"
    post(client, waiting, choices(page) | {"decision": "good"})
    assert worn_on(client) == ["2026-03-04"]
    assert client.get(f"{waiting}/rest-0.csv").content == rest.content
    pair = next(row["pair_id"] for row in rows(client, "pairs") if row["label"] == "Walnut")
    done = client.get(waiting).text
    assert f'href="/pairs/{pair}"' in done
    assert f'href="/pairs/{pair}/edit"' in done, "assumed values are linked to be corrected"


def test_a_choice_that_is_none_is_refused_and_nothing_is_taken(client):
    waiting = send(client, "log.csv", OPEN)
    given = choices(client.get(waiting).text)
    answer = post(client, waiting, given | {"q-0": "perhaps", "decision": "all"})
    assert answer.status_code == 422
    assert "no choice" in answer.text
    assert worn_on(client) == []


def test_another_browser_and_a_foreign_form_get_nothing(client):
    waiting = send(client, "log.csv", HALF)
    assert (
        client.post(waiting, data={"form_token": "guessed", "decision": "good"}).status_code == 422
    )
    client.cookies.clear()
    token(client)
    assert client.get(waiting).status_code == 404
    assert client.get(f"{waiting}/rest-0.csv").status_code == 404
    assert post(client, waiting, {"decision": "good"}).status_code == 404
    assert worn_on(client) == []


def test_cells_of_others_are_text_on_the_page(client):
    evil = [["Date", "Shoe"], ["2026-03-04", "<script>alert(1)</script>"], ["?", "=1+1"]]
    page = client.get(send(client, "<b>.xlsx", xlsx({"<i>": evil}))).text
    assert "<script>alert" not in page
    assert "<b>.xlsx" not in page


def test_a_sheet_with_many_columns_can_be_chosen_from(client):
    head = ["Date", "Shoe", *(f"Extra {n}" for n in range(120))]
    wide = text([head, ["2026-03-04", "Walnut", *range(120)]])
    waiting = send(client, "wide.csv", wide)
    given = choices(client.get(waiting).text)
    assert len(given) > 100
    assert post(client, waiting, given | {"decision": "all"}).status_code == 303
    assert worn_on(client) == ["2026-03-04"]
