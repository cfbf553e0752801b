"""Does a shared page show a repairer what is needed and no more, and end when it should?"""

import re
from datetime import timedelta

import pytest
from sqlalchemy import update

from solespan.api.storage.tables.pair_extras import SharedPage
from solespan.api.storage.tables.rack import Pair, Wearer
from tests.api.rack.conftest import NOW
from tests.api.rack.test_forms import token

SECRET_WORDS = ("Ada Quillfeather", "ada@mail.example", "a private note", "987.65", "98765")


@pytest.fixture
def client(client):
    with client.app.state.services.database.writing() as session:
        about = {"name": SECRET_WORDS[0], "email": SECRET_WORDS[1], "notes": SECRET_WORDS[2]}
        session.execute(update(Wearer).where(Wearer.wearer_id == "ada").values(**about))
        private = {"notes": SECRET_WORDS[2], "price_minor": 98765, "currency": "EUR"}
        session.execute(update(Pair).where(Pair.pair_id == "pair-001").values(**private))
    return client


def let_end(client, days_ahead):
    """Let every link end some days after today."""
    ends = (NOW + timedelta(days=days_ahead)).date()
    with client.app.state.services.database.writing() as session:
        session.execute(update(SharedPage).values(expires_on=ends))


def share(client, **typed):
    form = {"form_token": token(client), "wearer": "ada", "days": "30"} | typed
    answer = client.post("/shared-pages", data=form)
    found = re.search(r'value="http://[^/]+(/shared/[^"]+)"', answer.text)
    return answer, found and found[1]


def test_a_link_shows_the_pairs_without_a_name_a_price_or_a_note(client):
    _, path = share(client)
    client.cookies.clear()
    page = client.get(path)
    assert page.status_code == 200
    assert not any(word in page.text for word in SECRET_WORDS)
    assert "<form" not in page.text
    assert page.headers["x-robots-tag"].startswith("noindex")
    assert page.headers["cache-control"] == "no-store"
    assert '<meta name="robots" content="noindex">' in page.text
    assert "goodyear welted" in page.text


def test_a_link_to_one_pair_shows_that_pair_alone(client):
    _, path = share(client, pair="pair-001")
    page = client.get(path).text
    assert "1 pair to look at" in page
    assert page.count('<svg class="pic"') == 1


def test_a_link_ends_at_once_when_it_is_ended_and_by_itself_after_its_last_day(client):
    _, path = share(client, reader="the mender", days="7")
    listed = client.get("/shared-pages", params={"wearer": "ada"}).text
    assert "the mender" in listed
    assert path.rpartition("/")[2] not in listed, "it is shown once"
    let_end(client, -1)
    gone = client.get(path)
    assert gone.status_code == 404
    assert "This link has ended" in gone.text
    let_end(client, 0)
    assert client.get(path).status_code == 200, "its last day is whole"
    (ending,) = re.findall(r'action="(/shared-pages/[^"]+/ended)"', listed)
    client.post(ending, data={"form_token": token(client), "wearer": "ada"})
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("path", ["/shared/x", "/shared/1.x", "/shared/99999.x", "/shared/1."])
def test_a_guess_opens_nothing_and_says_so_on_a_page(client, path):
    share(client)
    answer = client.get(path)
    assert answer.status_code == 404
    assert "x-robots-tag" in answer.headers


@pytest.mark.parametrize("wrong", [{"days": "5000"}, {"pair": "nobody"}, {"pair": "pair-000"}])
def test_what_cannot_be_shared_is_refused_and_makes_no_link(client, wrong):
    answer, path = share(client, **wrong)
    assert answer.status_code in (404, 422)
    assert path is None


def test_a_form_without_this_browser_s_token_makes_no_link(client):
    assert client.post("/shared-pages", data={"wearer": "ada", "days": "7"}).status_code == 422
