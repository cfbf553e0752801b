"""Does a tag open one button that logs, and nothing by itself? Is a whole thumb check one form?"""

from __future__ import annotations

import re

import pytest

PAGE = {"accept": "text/html"}
DAY = "2026-11-25"


def posted(client, path: str, **typed: str):
    client.get("/thumb", headers=PAGE)
    typed = {"form_token": client.cookies["form_token"], **typed}
    return client.post(path, data=typed, follow_redirects=False)


def pairs_of(client) -> list[str]:
    return re.findall(r'name="pair" value="([^"]+)"', client.get("/worn", headers=PAGE).text)


def worn(client) -> set[str]:
    rows = client.get("/v1/wear-days", params={"since": DAY, "limit": 100}).json()["items"]
    return {row["pair_id"] for row in rows}


def test_a_look_at_a_tag_logs_nothing_and_its_button_does(client):
    pair = pairs_of(client)[0]
    before = worn(client)
    page = client.get(f"/worn/{pair}", headers=PAGE)
    assert page.text.partition("<main")[2].partition("</main")[0].count("<button") == 1
    assert worn(client) == before
    answer = posted(client, "/wear", pair=pair, **{"from": f"/pairs/{pair}"})
    assert answer.headers["location"].startswith(f"/pairs/{pair}?done=wear")
    assert worn(client) == before | {pair}
    assert "/wear/undo" in client.get(answer.headers["location"], headers=PAGE).text


def test_a_tag_of_no_pair_says_so(client):
    assert client.get("/worn/nothing", headers=PAGE).status_code == 404


def test_the_sheet_holds_a_tag_for_the_shelf_and_for_each_pair(client):
    page = client.get("/tags", headers=PAGE).text
    assert "No phone reaches these addresses" in page, "nobody set an address for phones"
    links = re.findall(r'class="link">([^<]+)<', page)
    assert len(links) == len(set(links)) == page.count("<svg") == len(pairs_of(client)) + 1
    for link in links:
        assert (
            client.get(link.removeprefix("http://127.0.0.1:8000"), headers=PAGE).status_code == 200
        )


def test_a_whole_thumb_check_is_one_form_and_the_same_again_changes_nothing(client):
    pair = pairs_of(client)[0]
    felt = {"pair": pair, "left-ball": "give", "right-ball": "firm", "left-toe": "skip"}
    assert posted(client, "/thumb", **felt).headers["location"].endswith("done=check")
    assert posted(client, "/thumb", **felt).headers["location"].endswith("done=same")
    rows = client.get("/v1/checks", params={"since": DAY, "limit": 100}).json()["items"]
    mine = {(r["foot"], r["point"], r["grade"]) for r in rows if r["pair_id"] == pair}
    assert mine == {("left", "ball", "give"), ("right", "ball", "firm")}
    other = posted(client, "/thumb", **{**felt, "left-ball": "soft"})
    assert other.status_code == 422
    assert "replace what is logged" in other.text


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({}, "No point was felt"),
        ({"left-ball": "hard"}, "left ball"),
        ({"left-ball": "firm", "checked_on": "2030-01-01"}, "checked on"),
    ],
)
def test_what_cannot_be_is_refused_and_stays_typed(client, typed, said):
    answer = posted(client, "/thumb", pair=pairs_of(client)[0], **typed)
    assert answer.status_code == 422
    assert said in answer.text


def test_without_a_pair_both_pages_say_what_to_do(reading):
    for path in ("/worn", "/thumb"):
        assert "Add one" in reading("no pair").get(path, headers=PAGE).text


def test_the_manifest_has_shortcuts_that_open(reading):
    manifest = reading("6 pairs").get("/app.webmanifest").json()
    for one in manifest["shortcuts"]:
        assert reading("6 pairs").get(one["url"], headers=PAGE).status_code == 200
