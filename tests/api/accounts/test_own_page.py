"""Does a customer's own page show and do what is theirs, in their language, and nothing else?"""

from __future__ import annotations

import re
from datetime import date

import pytest

from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.services.bench.bench_settings import change_bench_settings
from solespan.api.storage.bench import orders
from solespan.api.storage.notices.consents import consents_of
from solespan.api.storage.notices.notices import insert_notice, pairs_of_notice
from solespan.api.storage.rack.records import find_record, list_records
from solespan.api.storage.tables.bench import BenchPhoto
from solespan.api.storage.tables.pair_extras import PairPhoto
from solespan.api.storage.tables.rack import Pair, Sole, Wearer
from tests.api.accounts.conftest import NOW, form_token
from tests.dashboards.marked import marked_language, unmarked

SECRET_WORDS = ("a note of the shop", "Wanda at the bench", "777")


@pytest.fixture
def page(client, services, link_of_carl, open_as_customer):
    """Carl's browser, with a sole on his pair and an order on its way through the shop."""
    with services.database.writing() as session:
        pair = session.query(Pair).one()
        pair.soles.append(
            Sole(
                sole_id="s1",
                fitted_on=date(2025, 6, 1),
                material="oak_bark_leather",
                nominal_thickness_mm=5.0,
            )
        )
        pair.notes = SECRET_WORDS[0]
        pair.wearer.email = "carl@mail.example"
    open_as_customer(link_of_carl)
    return client


def book(services, stage="received", *, wearer="carl", **more):
    values = {"stage": stage, "work": "full_sole", "booked_on": date(2026, 6, 1)}
    values |= {"note": SECRET_WORDS[0], "worker": SECRET_WORDS[1], "bench_minutes": 777.0}
    values |= {"promised_on": date(2026, 6, 20), "price_minor": 11_000, "currency": "EUR"}
    with services.database.writing() as session:
        pair = session.query(Pair).join(Wearer).filter(Wearer.wearer_id == wearer).one()
        key = {"order_id": f"order-of-{wearer}", "pair_pk": pair.id}
        return orders.insert_order(session, values | key | more)


def send(client, address, **fields):
    fields |= {"form_token": form_token(client, "/my")}
    return client.post(address, data=fields, follow_redirects=False)


@pytest.mark.parametrize(
    ("stage", "said"),
    [
        ("booked", "We expect your pair"),
        ("in_post", "on its way to us"),
        ("received", "Your pair is with us"),
        ("on_bench", "Your pair is on the bench"),
        ("checked", "Your pair is ready"),
        ("posted_back", "on its way back to you"),
    ],
)
def test_the_page_says_the_stage_the_promised_day_and_the_price(page, services, stage, said):
    book(services, stage)
    text = page.get("/my").text
    assert said in text
    assert "110 EUR" in text
    assert ("Sat 20 Jun" in text) == (stage not in ("checked", "posted_back"))
    assert not any(word in text for word in SECRET_WORDS), "the shop's own view"


def test_without_anything_logged_the_page_says_what_is_known_and_asks_for_a_thumb_check(page):
    text = page.get("/my").text
    assert "is not known yet" in text
    assert "Nobody has looked at this sole yet" in text
    assert "Since 1 June 2025: oak bark leather, 5.0 mm" in text
    assert 'action="/my/check"' in text


def test_a_thumb_check_is_logged_and_told_again_replaced(page, services):
    assert send(page, "/my/check", pair="oxford", left="give").status_code == 303
    send(page, "/my/check", pair="oxford", left="soft", right="firm")
    with services.database.reading() as session:
        checks = list_records(session, "checks", equal={"pair_id": "oxford"}, limit=9)
    told = [(c["foot"], c["grade"], c["checked_on"]) for c in checks]
    assert told == [("left", "soft", NOW.date()), ("right", "firm", NOW.date())]
    assert "Felt on 15 June" in page.get("/my").text
    assert send(page, "/my/check", pair="oxford").status_code == 422


def test_a_customer_agrees_to_a_way_once_and_the_order_follows(page, services, monkeypatch):
    with services.database.writing() as session:
        change_bench_settings(session, BenchSettings(price_minor={"full_sole": 12_350}), None)
    way = {
        "works": ["full_sole"],
        "price_minor": 12_350,
        "why": [],
        "wear_days_bought": 250.0,
        "wear_days_low": 180.0,
        "wear_days_high": 330.0,
    }
    quoted = {"alternatives": [way], "chosen": way, "currency": "EUR"}
    for module in ("bench.quotes", "accounts.own_page.reading"):
        monkeypatch.setattr(f"solespan.api.services.{module}.quote_pair", lambda *a, **k: quoted)
    book(services, "booked", price_minor=None, currency=None)
    shown = page.get("/my").text
    assert "123.50 EUR" in shown
    assert "not known yet" in shown
    version = re.search(r'name="version" value="(\d+)"', shown)[1]
    fields = {"order": "order-of-carl", "version": version, "works": "full_sole"}
    assert send(page, "/my/quote", **fields).status_code == 303
    assert send(page, "/my/quote", **fields).status_code == 409, "of an older version"
    with services.database.reading() as session:
        order = orders.find_order(session, "order-of-carl")
    assert (order["price_minor"], order["currency"]) == (12_350, "EUR")
    after = page.get("/my").text
    assert "You agreed to" in after
    assert 'action="/my/quote"' not in after


def test_a_customer_books_a_pair_in_once(page, services):
    assert send(page, "/my/book", pair="oxford", day="soon").status_code == 422
    assert send(page, "/my/book", pair="oxford", way="post", day="2026-06-22").status_code == 303
    assert send(page, "/my/book", pair="oxford", way="post", day="2026-06-22").status_code == 409
    with services.database.reading() as session:
        (order,) = orders.list_orders(session, stage=None, pair_id=None, below_id=None, limit=9)
    assert (order["pair_id"], order["by_post"], order["stage"]) == ("oxford", True, "booked")


def test_what_is_booked_here_answers_the_notice_about_the_sole(page, services):
    with services.database.writing() as session:
        pair = session.query(Pair).one()
        notice = {"notice_id": "n" * 32, "wearer_pk": pair.wearer_pk, "decided_at": NOW}
        notice |= {"decided_on": NOW.date(), "sequence": 1}
        told = {"pair_pk": pair.id, "place": 0, "foot": "pair", "sole_id": "s1", "window": 1}
        told |= {"sequence": 1, "why": "due", "told_day": NOW.date()}
        out = {"channel": "mail", "message_id": "<n@shop.example>", "payload": {}, "attempts": 1}
        out |= {"made_at": NOW, "state": "sent", "next_try_at": NOW}
        number = insert_notice(session, notice, [told], out)
    send(page, "/my/book", pair="oxford", way="bring", day="2026-06-22")
    with services.database.reading() as session:
        (row,) = pairs_of_notice(session, number)
    assert (row["answer"], row["answered_at"]) == ("booked", NOW)


def test_language_and_consents_are_the_customers_to_choose(page, services):
    send(page, "/my/choices", language="de", by_mail="true")
    with services.database.reading() as session:
        assert find_record(session, "wearers", {"wearer_id": "carl"})["language"] == "de"
        (given,) = consents_of(session, "carl", 9)
    assert (given["channel"], given["given_by"]) == ("mail", "the customer")
    german = page.get("/my").text
    assert '<html lang="de">' in german
    assert "Paare von Carl of mine" in german
    send(page, "/my/choices", language="de")
    with services.database.reading() as session:
        (ended,) = consents_of(session, "carl", 9)
    assert ended["withdrawn_how"] == "on the customer's own page"
    assert send(page, "/my/choices", language="xx").status_code == 422


def test_a_customer_takes_their_own_data_and_not_the_shops_notes(page, services):
    book(services)
    data = page.get("/my/record.json")
    assert data.json()["pairs"][0]["pair_id"] == "oxford"
    assert data.json()["bench_orders"][0]["stage"] == "received"
    assert not any(word in data.text for word in SECRET_WORDS)


def test_nothing_of_another_customer_is_shown_or_changed(page, services):
    with services.database.writing() as session:
        theirs = Pair(pair_id="brogue", construction="blake", label="of Dora")
        session.add(Wearer(wearer_id="dora", name="Dora", pairs=[theirs]))
    order = book(services, wearer="dora")
    with services.database.writing() as session:
        pair_pk = orders.find_order(session, "order-of-dora")["pair_pk"]
        session.add(BenchPhoto(photo_id="p1", order_pk=order, media_type="image/png", content=b"x"))
        kept = {"media_type": "image/jpeg", "content": b"y", "thumbnail": b"y"}
        session.add(PairPhoto(photo_id="p2", pair_pk=pair_pk, **kept))
    assert "Dora" not in page.get("/my").text
    assert "Dora" not in page.get("/my/record.json").text
    for photo in ("p1", "p2"):
        assert page.get(f"/my/photographs/{photo}").status_code == 404
    for address, fields in (
        ("/my/wear", {"pair": "brogue"}),
        ("/my/check", {"pair": "brogue", "left": "soft"}),
        ("/my/book", {"pair": "brogue", "day": "2026-06-22"}),
        ("/my/quote", {"order": "order-of-dora", "version": "1", "works": "full_sole"}),
    ):
        assert send(page, address, **fields).status_code == 404, address


def test_photographs_of_an_own_pair_are_told_by_the_work(page, services):
    order = book(services)
    with services.database.writing() as session:
        session.add(BenchPhoto(photo_id="p1", order_pk=order, media_type="image/png", content=b"x"))
    assert "Before the work" in page.get("/my").text
    assert page.get("/my/photographs/p1").content == b"x"


@pytest.mark.parametrize("stage", [None, "booked", "checked"])
def test_every_word_of_the_page_comes_from_the_catalogue(page, services, monkeypatch, stage):
    if stage:
        book(services, stage)
    monkeypatch.setattr(
        "solespan.api.routes.accounts.my_pages.language_of", lambda *_words: marked_language()
    )
    dates = r"\w+,? \d+\. \w+ \d{4}|\d+\. \w+ \d{4}|\w+\., \d+\. \w+"
    known = rf"mine|Carl of|EUR|\bmm\b|English|Deutsch|{dates}"
    assert unmarked(page.get("/my").text, known) == []
