"""Does every page lead to every other, and can a phone keep the program."""

import re

import pytest

from solespan.api.routes.http.form_token import is_token, mask_token
from solespan.api.routes.http.page_entry import navigation_of
from solespan.api.routes.page_register import PAGES
from solespan.dashboards.navigation import GROUPS

ENTRIES = navigation_of(PAGES)


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.label)
def test_every_entry_leads_to_a_page_that_says_where_one_is(reading, entry):
    page = reading("6 pairs").get(entry.address)
    assert page.status_code == 200
    here = re.findall(r'<a href="([^"]+)"[^>]* aria-current="page"', page.text)
    assert set(here) == {entry.address}, "in the bar and at the foot"


def test_no_entry_stands_twice_and_each_belongs_to_a_group():
    addresses = [entry.address for entry in ENTRIES]
    assert len(addresses) == len(set(addresses))
    assert {entry.group for entry in ENTRIES} <= {group for group, _ in GROUPS}
    templates = [template for entry in ENTRIES for template in entry.templates]
    assert len(templates) == len(set(templates))


def test_the_service_worker_may_look_at_every_page_and_is_asked_for_anew(reading):
    answer = reading("6 pairs").get("/sw.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    assert "worker-src 'self'" in answer.headers["content-security-policy"]


def test_the_manifest_names_pictures_that_are_there(reading):
    client = reading("6 pairs")
    answer = client.get("/app.webmanifest")
    assert answer.headers["content-type"] == "application/manifest+json"
    icons = answer.json()["icons"]
    assert {"192x192", "512x512"} <= {icon["sizes"] for icon in icons}
    for icon in icons:
        picture = client.get(icon["src"])
        assert picture.status_code == 200
        assert picture.headers["content-type"] == icon["type"]


def test_every_page_with_forms_gives_the_browser_its_token(reading):
    client = reading("6 pairs")
    for address in ("/", "/add", "/import", "/pairs/pair-000", "/pairs/pair-000/sole"):
        client.cookies.clear()
        page = client.get(address).text
        given = set(re.findall(r'name="form_token" value="([^"]+)"', page))
        assert given, address
        assert all(is_token(one, client.cookies["form_token"]) for one in given), address


def test_answers_are_compressed_and_no_two_carry_the_same_token(reading):
    client = reading("6 pairs")
    plain = client.get("/", headers={"accept-encoding": "identity"})
    for address in ("/", "/v1/forecasts"):
        answer = client.get(address, headers={"accept-encoding": "gzip"})
        assert answer.headers["content-encoding"] == "gzip"
        assert "Accept-Encoding" in answer.headers["vary"]
    assert int(client.get("/").headers["content-length"]) < len(plain.content) / 3
    pages = [client.get("/pairs/pair-000").text for _ in range(2)]
    tokens = [set(re.findall(r'name="form_token" value="([^"]+)"', page)) for page in pages]
    assert not tokens[0] & tokens[1]
    assert not any(client.cookies["form_token"] in page for page in pages)


def test_a_masked_token_is_that_token_and_no_other():
    assert is_token(mask_token("one"), "one")
    assert is_token("one", "one"), "as the cookie holds it"
    for given in ("", "other", mask_token("other"), mask_token(""), mask_token("one")[:-1], "é"):
        assert not is_token(given, "one")
    assert not is_token("", "")
