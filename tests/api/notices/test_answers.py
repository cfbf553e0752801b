"""Does a customer's answer do what it says, once, and does opening a link do nothing?"""

from __future__ import annotations

import logging
import re
from datetime import date

import pytest
import structlog
from sqlalchemy import select

from solespan.api.app import LINK_LOOKS_PER_MINUTE
from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.services.bench.bench_settings import change_bench_settings
from solespan.api.services.notices.choices import change_rules, read_rules
from solespan.api.services.notices.deciding import preview, run
from solespan.api.storage.bench.orders import list_orders
from solespan.api.storage.bench.workload import load_outcomes
from solespan.api.storage.notices.consents import consents_of
from solespan.api.storage.notices.notices import find_notice, list_notices, pairs_of_notice
from solespan.api.storage.rack.records import find_record, list_records
from solespan.api.storage.tables.notices import Consent, Notice, NoticePair, Outbox
from solespan.api.wiring import build_services
from tests.api.notices.conftest import MovableClock, settings_of
from tests.api.notices.people import link_in
from tests.dashboards.marked import marked_language, unmarked

FORM = {"content-type": "application/x-www-form-urlencoded"}


@pytest.fixture(scope="module")
def written(databases, filled):
    """The shop's database after Ada was written to, made once."""
    address = databases.copy(filled)
    services = build_services(settings_of(address), MovableClock())
    run(services, only={"ada"})
    services.database.close()
    return address


@pytest.fixture
def shop(written, own_database, clock):
    """The shop after that, in a copy that this test may change."""
    services = build_services(settings_of(own_database(written)), clock)
    yield services
    services.database.close()


@pytest.fixture
def text(shop):
    """What Ada was written."""
    with shop.database.reading() as session:
        (row,) = list_notices(session, limit=5)
        return find_notice(session, row["notice_id"])["payload"]["text"]


def token_of(page) -> str:
    return re.search(r'name="form_token" value="([^"]+)"', page.text)[1]


def send(client, path, **fields):
    return client.post(path, data={"form_token": token_of(client.get(path)), **fields})


def change_language(shop, language):
    with shop.database.writing() as session:
        rules, version = read_rules(session)
        change_rules(session, rules.model_copy(update={"language": language}), {version})


def everything(shop):
    """Every row that an answer could touch."""
    with shop.database.reading() as session:
        (notice,) = list_notices(session, limit=5)
        return (
            pairs_of_notice(session, notice["id"]),
            consents_of(session, None, 50),
            list_orders(session, stage=None, pair_id=None, below_id=None, limit=50),
            list_records(session, "checks", equal={}, limit=50),
            list_records(session, "soles", equal={}, limit=50),
            load_outcomes(session).to_dict("records"),
        )


@pytest.mark.parametrize("purpose", ["book", "check", "elsewhere", "decline", "unsubscribe"])
def test_opening_a_link_changes_nothing_and_says_so_to_robots(client, shop, text, purpose):
    before = everything(shop)
    for method in (client.get, client.head, client.options):
        method(link_in(text, purpose))
    page = client.get(link_in(text, purpose))
    assert page.status_code == 200
    assert page.headers["referrer-policy"] == "no-referrer"
    assert page.headers["cache-control"] == "no-store"
    assert "<nav" not in page.text, "no way into the shop"
    assert everything(shop) == before


@pytest.mark.parametrize("purpose", ["book", "check", "elsewhere", "decline", "unsubscribe"])
@pytest.mark.parametrize("token", ["", "0" * 32])
def test_a_form_of_another_site_is_refused(client, shop, text, purpose, token):
    before = everything(shop)
    fields = {"day": "2026-12-01", "left": "firm", "way": "bring", "form_token": token}
    answer = client.post(link_in(text, purpose), data=fields)
    assert answer.status_code == 422
    assert everything(shop) == before


def test_booking_in_makes_an_order_once(client, shop, text):
    path = link_in(text, "book")
    answer = send(client, path, way="post", day="2026-12-03")
    assert "It is booked in: you post it on 3 December 2026" in answer.text
    assert "12 Last Lane" in answer.text, "where it is to be posted"
    again = client.post(path, data={"form_token": _form_token(path), "day": "2026-12-04"})
    assert again.status_code == 409
    assert "booked in already" in again.text
    with shop.database.reading() as session:
        (order,) = list_orders(session, stage=None, pair_id=None, below_id=None, limit=9)
    assert (order["pair_id"], order["work"], order["by_post"]) == ("ada-0", "full_sole", True)
    assert order["expected_on"] == date(2026, 12, 3)
    assert "booked in already" in client.get(path).text


def test_a_customer_chooses_a_way_at_the_shops_own_prices_and_the_order_follows(client, shop, text):
    path = link_in(text, "book")
    assert "Which work?" not in client.get(path).text, "the shop has set no prices"
    with shop.database.writing() as session:
        prices = BenchSettings(currency="CHF", price_minor={"full_sole": 12_345})
        change_bench_settings(session, prices, None)
    _is_worn(shop)
    page = client.get(path).text
    assert "Which work?" in page
    shown = re.search(r"Full sole, ([0-9.]+) CHF", page)[1]
    gone = send(client, path, way="bring", day="2026-12-03", works="sock")
    assert gone.status_code == 409
    with shop.database.reading() as session:
        assert list_orders(session, stage=None, pair_id=None, below_id=None, limit=9) == []
    answer = send(client, path, way="bring", day="2026-12-03", works="full_sole")
    assert "It is booked in" in answer.text
    with shop.database.reading() as session:
        (order,) = list_orders(session, stage=None, pair_id=None, below_id=None, limit=9)
    agreed = (order["work"], f"{order['price_minor'] / 100:.2f}", order["currency"])
    assert agreed == ("full_sole", shown, "CHF")


def _is_worn(shop):
    """The forecast says that the ball is at its limit."""
    from solespan.api.storage.forecasts.forecast_writes import replace_forecasts
    from solespan.api.storage.forecasts.forecasts import load_forecasts

    with shop.database.writing() as session:
        worn = {"thickness_mm_p50": 1.0, "rate_mm_per_wear_day_p50": 0.02}
        replace_forecasts(session, load_forecasts(session).assign(**worn))


def _form_token(path: str) -> str:
    from solespan.api.notices.links import form_token
    from tests.api.notices.people import SECRET

    return form_token(path.rsplit("/", 1)[1], SECRET)


@pytest.mark.parametrize("day", ["", "soon", "2026-11-24", "2026-13-01", "2062-12-01"])
def test_a_day_that_cannot_be_is_told_beside_the_field(client, shop, text, day):
    before = everything(shop)
    answer = send(client, link_in(text, "book"), way="bring", day=day)
    assert answer.status_code == 422
    assert 'id="b-day-problem"' in answer.text
    assert everything(shop) == before


def test_declining_keeps_the_shop_quiet_about_this_sole(client, shop, text, clock):
    send(client, link_in(text, "decline"))
    clock.move(days=80)
    seen = preview(shop).decisions.set_index("pair_id")
    assert seen.loc["ada-0", "why"] == "answered"
    _dates_move(shop, days=200)
    seen = preview(shop).decisions.set_index("pair_id")
    assert seen.loc["ada-0", "why"] == "answered", "`not about this sole again` is said and kept"
    assert seen.loc["ada-1", "why"] != "answered"
    with shop.database.reading() as session:
        (outcome,) = load_outcomes(session).to_dict("records")
    assert (outcome["pair_id"], outcome["outcome"]) == ("ada-0", "declined")


def _dates_move(shop, days):
    """The forecast is of today, and every day in it is later."""
    import pandas as pd

    from solespan.api.storage.forecasts.forecast_writes import replace_forecasts
    from solespan.api.storage.forecasts.forecasts import load_forecasts

    with shop.database.writing() as session:
        frame = load_forecasts(session)
        for name in [c for c in frame if c.startswith("due_")] + ["send_by", "book_by"]:
            frame[name] += pd.Timedelta(days=days)
        frame["as_of"] = pd.Timestamp(shop.clock.today()).as_unit("s")
        replace_forecasts(session, frame)


def test_done_elsewhere_ends_the_sole_and_begins_one_that_is_assumed(client, shop, text):
    answer = send(client, link_in(text, "elsewhere"), day="2026-11-20")
    assert "not write about the old sole again" in answer.text
    with shop.database.reading() as session:
        sole = find_record(session, "soles", {"sole_id": "ada-0-sole"})
        soles = list_records(session, "soles", equal={"pair_id": "ada-0"}, limit=9)
    assert sole["removed_on"] == date(2026, 11, 20)
    (new,) = [s for s in soles if s["sole_id"] != "ada-0-sole"]
    assert (new["material"], new["assumed"]) == (sole["material"], True)
    assert (new["fitted_on"], new["removed_on"]) == (date(2026, 11, 20), None)
    late = send(client, link_in(text, "elsewhere"), day="2026-12-24")
    assert late.status_code in (200, 422)
    with shop.database.reading() as session:
        assert find_record(session, "soles", {"sole_id": "ada-0-sole"}) == sole
        assert len(list_records(session, "soles", equal={"pair_id": "ada-0"}, limit=9)) == 2


def test_a_day_ahead_or_before_the_sole_was_fitted_is_refused(client, shop, text):
    before = everything(shop)
    for day in ("2026-12-24", "2020-01-01"):
        assert send(client, link_in(text, "elsewhere"), day=day).status_code == 422
    assert everything(shop) == before


def test_a_thumb_check_is_logged_for_both_feet_and_told_again_replaced(client, shop, text):
    path = link_in(text, "check")
    answer = send(client, path, left="firm", right="give")
    assert "will be calculated again" in answer.text, "nothing has been fitted here"
    send(client, path, left="soft", right="give")
    with shop.database.reading() as session:
        checks = list_records(session, "checks", equal={"pair_id": "ada-0"}, limit=9)
    told = [(c["foot"], c["grade"], c["method"], c["point"]) for c in checks]
    assert told == [("left", "soft", "thumb", "ball"), ("right", "give", "thumb", "ball")]


def test_a_thumb_check_without_a_grade_or_with_an_unknown_one_is_refused(client, shop, text):
    before = everything(shop)
    path = link_in(text, "check")
    for fields in ({}, {"left": "hard"}):
        answer = send(client, path, **fields)
        assert answer.status_code == 422
        assert 'id="c-left-problem"' in answer.text
    assert everything(shop) == before


def test_one_click_unsubscribes_without_cookie_or_form_and_twice_is_as_once(client, shop, text):
    """RFC 8058, 3.2: the POST carries neither cookies nor a session."""
    path = link_in(text, "unsubscribe")
    for _ in range(2):
        answer = client.post(path, content="List-Unsubscribe=One-Click", headers=FORM)
        assert answer.status_code == 200
    multipart = client.post(path, files={"List-Unsubscribe": (None, "One-Click")})
    assert multipart.status_code == 200
    with shop.database.reading() as session:
        (consent,) = consents_of(session, "ada", 9)
    assert consent["withdrawn_how"] == "one click in the mail"
    assert preview(shop).customers.set_index("wearer_id").loc["ada", "barred"] == "no consent"
    with shop.database.reading() as session:
        (row,) = list_notices(session, limit=5)
    assert (row["state"], row["problem"]) == ("cancelled", "the consent was withdrawn")


def test_the_plain_page_unsubscribes_with_its_button(client, shop, text):
    page = send(client, link_in(text, "unsubscribe"))
    assert "You will get no more notices" in page.text
    assert "Hide &amp; Welt" in page.text
    with shop.database.reading() as session:
        assert consents_of(session, "ada", 9)[0]["withdrawn_how"] == "on the page"


def test_the_page_says_that_it_is_done_only_when_it_is(client, text):
    page = client.get(link_in(text, "unsubscribe"), params={"done": "yes"})
    assert "Press the button" in page.text


def test_a_link_of_one_purpose_opens_no_other(client, text):
    book = link_in(text, "book").rsplit("/", 1)[1]
    out = link_in(text, "unsubscribe").rsplit("/", 1)[1]
    one_click = {"content": "List-Unsubscribe=One-Click", "headers": FORM}
    assert client.post(f"/unsubscribe/{book}", **one_click).status_code == 404
    assert client.get(f"/answers/{out}").status_code == 404


@pytest.mark.parametrize("token", ["x", "A" * 60, "A" * 199, "%00", "..%2f"])
def test_a_link_that_is_not_ours_leads_nowhere_in_words(client, shop, token):
    for path in (f"/answers/{token}", f"/unsubscribe/{token}?done=no"):
        page = client.get(path) if "answers" in path else client.post(path)
        assert page.status_code in (400, 404, 422)
    assert client.get(f"/unsubscribe/{token}").status_code >= 400
    page = client.get(f"/answers/{'A' * 60}")
    assert "leads nowhere" in page.text
    assert "<nav" not in page.text


def test_a_link_that_is_opened_very_often_rests_a_minute_and_no_other_does(
    client, shop, text, monkeypatch
):
    now = [1000.0]
    monkeypatch.setattr("solespan.api.routes.http.pace.time.monotonic", lambda: now[0])
    book, out = link_in(text, "book"), link_in(text, "unsubscribe")
    seen = [client.get(book).status_code for _ in range(LINK_LOOKS_PER_MINUTE)]
    assert set(seen) == {200}
    refused = client.get(book)
    assert (refused.status_code, refused.headers["retry-after"]) == (429, "60")
    assert "opened too often" in refused.text
    assert "12 Last Lane" in refused.text, "how to reach the shop instead"
    change_language(shop, "de")
    assert "zu oft" in client.get(book).text
    assert client.get(link_in(text, "check")).status_code == 200
    one_click = {"content": "List-Unsubscribe=One-Click", "headers": FORM}
    for _ in range(LINK_LOOKS_PER_MINUTE + 1):
        client.get(out)
    assert client.post(out, **one_click).status_code == 200, "the way out is always open"
    now[0] += 61.0
    assert client.get(book).status_code == 200


def test_an_answer_ends_with_its_time_and_the_way_out_much_later(client, text, clock):
    book, out = link_in(text, "book"), link_in(text, "unsubscribe")
    clock.move(days=61)
    assert client.get(book).status_code == 410
    assert "is over" in client.get(book).text
    assert "Hide &amp; Welt" in client.get(book).text
    assert "12 Last Lane" in client.get(book).text, "how to reach the shop instead"
    one_click = {"content": "List-Unsubscribe=One-Click", "headers": FORM}
    assert client.post(out, **one_click).status_code == 200


def test_the_links_of_an_erased_customer_are_gone_and_the_way_out_does_no_harm(client, shop, text):
    book, out = link_in(text, "book"), link_in(text, "unsubscribe")
    assert client.delete(
        "/v1/wearers/ada?with_all_below=true", headers={"if-match": "*"}
    ).is_success
    assert client.get(book).status_code == 404
    one_click = {"content": "List-Unsubscribe=One-Click", "headers": FORM}
    assert client.post(out, **one_click).status_code == 200


def test_no_token_and_no_name_reaches_the_log(client, shop, text, capsys):
    from solespan.api.logs import configure_logs

    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    path = link_in(text, "decline")
    try:
        configure_logs("info")
        send(client, path)
        client.get(f"{path}x")
    finally:
        structlog.reset_defaults()
        root.handlers[:] = handlers
        root.setLevel(level)
    lines = capsys.readouterr().err.splitlines()
    logged = "\n".join(line for line in lines if "HTTP Request: " not in line)  # the test's client
    assert "/answers/{token}" in logged
    assert path.rsplit("/", 1)[1] not in logged
    assert "oxford" not in logged.lower()


def test_with_a_customer_goes_all_that_was_written_to_them(client, shop, text):
    """Their notices, what was in them, the outbox and the consents; others keep theirs."""
    run(shop)
    gone = client.delete("/v1/wearers/ada?with_all_below=true", headers={"if-match": "*"})
    assert gone.is_success
    tables = (Notice, NoticePair, Outbox, Consent)
    with shop.database.reading() as session:
        left = {t.__tablename__: len(session.execute(select(t.id)).all()) for t in tables}
        words = session.execute(select(Outbox.payload)).scalars().all()
    assert left == {"notices": 1, "notice_pairs": 3, "outbox": 1, "consents": 1}
    assert "Oxford ada-" not in str(words)


@pytest.mark.parametrize("purpose", ["book", "check", "elsewhere", "decline", "unsubscribe"])
def test_every_word_behind_a_link_comes_from_the_catalogue(
    client, shop, text, purpose, monkeypatch
):
    monkeypatch.setattr(
        "solespan.api.routes.notices.link_pages.language_of", lambda *_words: marked_language()
    )
    known = r"Oxford ada-\d|Hide & Welt|12 Last Lane|between .* and .* 2027|by 28 November"
    known += r"|\w+,? \d+\. \w+ \d{4}"
    path = link_in(text, purpose)
    assert unmarked(client.get(path).text, known) == []
    done = send(client, path, way="post", day="2026-12-03", left="firm")
    assert unmarked(done.text, known) == []
