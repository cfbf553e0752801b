"""Is each customer written to in their own language, by the shop's wording of that language?"""

from __future__ import annotations

import re

from sqlalchemy import update

from solespan.api.services.notices.choices import read_template
from solespan.api.services.notices.deciding import run
from solespan.api.storage.notices.notices import find_notice, list_notices
from solespan.api.storage.tables.rack import Wearer


def speak(shop, wearer_id, language):
    with shop.database.writing() as session:
        query = update(Wearer).where(Wearer.wearer_id == wearer_id)
        session.execute(query.values(language=language))


def texts(shop):
    with shop.database.reading() as session:
        found = list_notices(session, limit=9)
        return {
            row["wearer_id"]: find_notice(session, row["notice_id"])["payload"] for row in found
        }


def test_each_customer_reads_their_own_language_and_the_others_the_shops(shop, change):
    change(language="de")
    speak(shop, "ada", "en")
    run(shop)
    told = texts(shop)
    assert "A new sole is due" in told["ada"]["text"]
    assert "Neue Sohle fällig" in told["bo"]["text"]
    assert 'lang="de"' in told["bo"]["html"]
    assert "Diese Sohle hat noch niemand geprüft" in told["bo"]["text"]
    assert (told["ada"]["language"], told["bo"]["language"]) == ("en", "de")
    assert "Book it in" not in told["bo"]["html"] + told["bo"]["text"]


def test_a_shop_words_each_language_by_itself(client, shop):
    address = "/notices/wording?language=de"
    page = client.get(address).text
    assert "Guten Tag {{ customer.name }}," in page
    typed = {
        name: re.search(rf'name="{name}" value="([^"]*)"', page)[1]
        for name in ("form_token", "edition", "language")
    }
    link = "{{ unsubscribe_link }}"
    parts = {"subject": "Sohlen", "text": f"Servus {link}", "html": f"<p>Servus {link}</p>"}
    answer = client.post("/notices/wording", data=typed | parts, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    with shop.database.reading() as session:
        assert read_template(session, "de")[0].text.startswith("Servus")
        assert read_template(session)[1] == 0, "English is as shipped"
    speak(shop, "ada", "de")
    run(shop)
    told = texts(shop)
    assert told["ada"]["text"].startswith("Servus")
    assert "A new sole is due" in told["bo"]["text"]
