"""Does every page lead to every other, and can a phone keep the program."""

import re

import pytest

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
        assert given == {client.cookies["form_token"]}, address
