"""Does a browser get every page and file, quickly and with few statements."""

import gzip
import json
import re

import pytest

from solespan.dashboards.figures import FIGURES
from tests.api.rack.conftest import SITUATIONS

RACK = SITUATIONS["6 pairs"]


@pytest.fixture
def client(reading):
    return reading("6 pairs")


def test_the_rack_stands_at_the_root_in_the_order_of_the_send_by_dates(client):
    page = client.get("/")
    assert page.status_code == 200
    assert page.headers["content-type"].startswith("text/html")
    shown = re.findall(r'class="who"><a href="/pairs/([^"]+)"', page.text)
    rows = RACK.forecast[RACK.forecast["foot"] == "pair"]
    rows = rows[rows["point"] == "ball"].sort_values("send_by")
    assert shown == list(rows["pair_id"])


def test_the_rack_can_be_narrowed_in_the_address(client):
    page = client.get("/", params={"wearer": "ada", "band": "watch"}).text
    pairs = RACK.log.pairs.set_index("pair_id")
    shown = re.findall(r'class="who"><a href="/pairs/([^"]+)"', page)
    assert shown
    assert all(pairs.loc[pair_id, "wearer_id"] == "ada" for pair_id in shown)
    assert "/figures/resole_dates.json?wearer=ada&amp;band=watch" in page


def test_every_pair_has_a_page_with_its_log_and_forms(client):
    for pair_id in RACK.log.pairs["pair_id"]:
        page = client.get(f"/pairs/{pair_id}")
        assert page.status_code == 200
        assert f'href="/pairs/{pair_id}/thumb"' in page.text
        assert 'name="left"' in page.text


def test_an_empty_rack_says_what_to_do(reading):
    page = reading("no pair").get("/").text
    assert 'href="/add"' in page
    assert 'action="/example"' in page


def test_an_unknown_pair_is_a_page_that_says_so(client):
    page = client.get("/pairs/pair-0004")
    assert page.status_code == 404
    assert page.headers["content-type"].startswith("text/html")
    assert "Did you mean" in page.text


def test_markup_in_a_name_stays_text_on_every_page(reading):
    for address in ("/", "/pairs/pair-000"):
        page = reading("long names").get(address).text
        assert "<b>" not in re.sub(r"<span><b>.*?</b>", "", page)


@pytest.mark.parametrize("name", [n for n in FIGURES if FIGURES[n].page in ("rack", "pair")])
def test_every_figure_of_a_page_is_served_as_json_for_it(client, name):
    own = f"/figures/{name}.json" if FIGURES[name].page == "rack" else None
    answer = client.get(own or f"/figures/{name}/pair-000.json")
    assert answer.status_code == 200
    figure = answer.json()
    assert figure["data"]
    assert set(figure["templates"]) == {"light", "dark"}


def test_an_unknown_figure_is_a_problem_document_that_names_the_known(client):
    for address in ("/figures/nothing.json", "/figures/nothing/pair-000.json"):
        answer = client.get(address)
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"
    assert client.get("/figures/wear_path/nobody.json").status_code == 404


class TestFiles:
    def test_every_file_of_a_page_is_there_and_may_be_kept_for_ever(self, client):
        page = client.get("/").text
        addresses = set(re.findall(r'"(/assets/[^"]+)"', page))
        assert len(addresses) >= 5
        for address in addresses:
            answer = client.get(address)
            assert answer.status_code == 200
            assert "immutable" in answer.headers["cache-control"]
            assert re.search(r"\.[0-9a-f]{12}\.", address)

    def test_the_figure_library_comes_compressed_where_that_is_understood(self, client):
        address = re.search(r'data-library="([^"]+)"', client.get("/").text).group(1)
        with client.stream("GET", address, headers={"accept-encoding": "gzip"}) as answer:
            raw = b"".join(answer.iter_raw())
        assert answer.headers["content-encoding"] == "gzip"
        assert len(raw) < 1_600_000
        plain = client.get(address, headers={"accept-encoding": "identity"})
        assert "content-encoding" not in plain.headers
        assert gzip.decompress(raw) == plain.content

    def test_an_unknown_file_is_not_found(self, client):
        assert client.get("/assets/app.000000000000.css").status_code == 404
        assert client.get("/assets/..%2f..%2fpyproject.toml").status_code == 404


class TestCost:
    @pytest.mark.parametrize("name", ["6 pairs", pytest.param("200 pairs", marks=pytest.mark.slow)])
    def test_a_page_takes_a_fixed_number_of_statements(self, reading, statements_of, name):
        client = reading(name)
        for address, most in (("/", 8), ("/?wearer=bo&q=o", 19), ("/pairs/pair-000", 19)):
            with statements_of(client) as statements:
                assert client.get(address).status_code == 200
            assert len(statements) <= most, [address, *statements]

    @pytest.mark.parametrize("name", ["6 pairs", pytest.param("200 pairs", marks=pytest.mark.slow)])
    def test_so_do_the_pages_beside_it(self, reading, statements_of, name):
        client = reading(name)
        for address, most in (
            ("/rotation", 5),
            ("/care?wearer=ada", 19),
            ("/spread?wearer=ada", 3),
            ("/add", 2),
            ("/import", 3),
            ("/pairs/pair-000/thumb", 3),
            ("/pairs/pair-000/edit", 6),
            ("/pairs/pair-000/sole", 6),
            ("/pairs/pair-000/upkeep", 20),
        ):
            with statements_of(client) as statements:
                assert client.get(address).status_code == 200
            assert len(statements) <= most, [address, *statements]

    def test_200_pairs_take_under_150_kb(self, reading):
        assert len(reading("200 pairs").get("/").content) < 150_000


def test_a_figure_of_more_pairs_than_it_draws_keeps_the_soonest(client):
    figure = client.get("/figures/resole_dates.json").json()
    names = json.dumps(figure["data"][0]["text"])
    assert all(label[:15] in names for label in RACK.log.pairs["label"])
