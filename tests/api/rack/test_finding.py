"""Does the rack's search lead to pairs and people without putting a name into an address?"""

from __future__ import annotations

import re

from sqlalchemy import update

from solespan.api.storage.tables.rack import Wearer
from tests.api.rack.test_forms import token


def find(client, text, **more):
    typed = {"form_token": token(client), "q": text, **more}
    return client.post("/find", data=typed, follow_redirects=False)


def call(client, wearer_id, name):
    with client.app.state.services.database.writing() as session:
        session.execute(update(Wearer).where(Wearer.wearer_id == wearer_id).values(name=name))


def test_a_name_leads_to_that_persons_pairs_and_words_about_pairs_stay(client):
    call(client, "ada", "Ada Quillfeather")
    answer = find(client, "Brogue QUILLFEATHER", band="watch")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/?wearer=ada&band=watch&q=Brogue"
    page = client.get("/?wearer=ada&q=Brogue").text
    assert 'value="Brogue"' in page
    assert find(client, "Derby", wearer="bo").headers["location"] == "/?wearer=bo&q=Derby"
    assert find(client, " ").headers["location"] == "/"


def test_of_several_people_one_is_chosen_and_a_stranger_is_said_to_be_none(client):
    call(client, "ada", "Ada Quillfeather")
    call(client, "bo", "Bo <Quillfeather>")
    page = find(client, "quillfeather oxford").text
    assert re.findall(r'<a href="(/\?[^"]*)">([^<]*)</a>', page) == [
        ("/?wearer=ada&amp;q=oxford", "Ada Quillfeather"),
        ("/?wearer=bo&amp;q=oxford", "Bo &lt;Quillfeather&gt;"),
    ]
    none = find(client, "Zebediah")
    assert none.status_code == 200
    assert "Nothing found" in none.text


def test_names_are_not_searched_from_the_address(client):
    call(client, "ada", "Ada Quillfeather")
    assert "No pair matches" in client.get("/?q=quillfeather").text


def test_a_form_from_elsewhere_is_refused(client):
    assert client.post("/find", data={"q": "Ada"}).status_code == 422
