"""Does the desk see its day, find its customers, and take a stranger's pair in with one ticket?"""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from typer.testing import CliRunner

from solespan.api.cli.main import build_app
from solespan.api.services.bench.desk.reception import read_request
from solespan.forecast.bench.day_load import day_loads
from solespan.forecast.bench.hours import BenchHours

MONDAY = date(2026, 6, 15)  # as the bench's clock in these tests
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de"
    "0000000c4944415408d763f8cfc000000301010018dd8db00000000049454e44ae426082"
)


@pytest.fixture(autouse=True)
def fresh_browser(running):
    """No choice of an earlier test's browser is kept."""
    running.cookies.clear()
    yield
    running.cookies.clear()


@pytest.fixture
def post(client):
    def send(path: str, **typed: str):
        page = client.get("/reception").text
        token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
        return client.post(path, data={"form_token": token, **typed}, follow_redirects=False)

    return send


def form(post, path="/reception", **typed):
    return post(path, choice="new", **typed)


def test_the_home_of_a_shop_is_its_day_and_else_the_rack(client, bench, post):
    assert "oxford" in client.get("/").text
    assert post("/shop-pages", show="on").headers["location"] == "/"
    order = bench.book(expected_on="2026-06-17")
    home = client.get("/").text
    assert "Coming this week" in home
    assert f"/bench/{order['order_id']}" in home
    assert "Worn" not in home
    assert "oxford" in client.get("/rack").text
    assert "Coming this week" not in client.get("/?wearer=ada").text
    post("/first-page", first="rack")
    assert "Coming this week" not in client.get("/").text
    assert "Coming this week" in client.get("/desk").text


def test_the_bench_begins_with_its_queue(client, bench, post):
    bench.on_bench()
    post("/shop-pages", show="on")
    post("/first-page", first="bench")
    home = client.get("/").text
    assert home.index('id="queue"') < home.index('id="coming"')


def test_each_open_order_stands_in_the_list_that_it_belongs_to(client, bench):
    late = bench.moved(
        bench.book(promised_on="2026-06-15", overrule="it is for a friend"), "received"
    )
    assert late["ticket"] == 1
    page = client.get("/desk").text
    assert "to tell" in page, "it has no price yet"
    alone = client.get("/desk?only=quotes").text
    assert f"/bench/{late['order_id']}" in alone
    assert "Coming this week" not in alone
    assert client.get("/desk?only=nothing&page=7").status_code == 200


def test_tickets_count_up_and_are_told(client, bench):
    tickets = [bench.book(pair)["ticket"] for pair in ("oxford", "derby")]
    assert tickets == [1, 2]


def test_a_stranger_gets_a_ticket_from_a_name_and_a_few_words(client, post):
    shown = post("/reception/who", who="Walter Q.").text
    assert "Walter Q." in shown
    made = form(post, order_id="w1", who="Walter Q.", phone="+43 1 2345", what="brown brogue, heel")
    assert made.headers["location"] == "/reception?order=w1"
    again = form(post, order_id="w1", who="Walter Q.", what="brown brogue, heel")
    assert again.headers["location"] == "/reception?order=w1"
    order = client.get("/v1/bench-orders/w1").json()
    assert (order["stage"], order["work"], order["ticket"]) == ("received", "top_piece", 1)
    assert order["price_minor"] == 2800
    assert order["promised_on"] >= "2026-06-15"
    done = client.get("/reception?order=w1").text
    assert "/bench/w1/ticket" in done
    ticket = client.get("/bench/w1/ticket").text
    for word in ("Walter Q.", "+43 1 2345", "28.00 EUR", "Tear here", "<svg"):
        assert word in ticket
    card = client.get("/bench/w1/card").text
    assert "+43 1 2345" in card
    assert card.index("Done") < card.index("Cautions")
    pair = client.get(f"/v1/pairs/{order['pair_id']}").json()
    assert pair["label"] == "brown brogue"
    people = client.get("/v1/wearers").json()["items"]
    assert [one["name"] for one in people].count("Walter Q.") == 1


def test_what_is_assumed_is_told_until_somebody_corrects_it(client, post):
    form(post, order_id="w1", who="Walter Q.", what="brown brogue")
    job = client.get("/bench/w1").text
    assert "Assumed until you look" in job
    pair_id = client.get("/v1/bench-orders/w1").json()["pair_id"]
    (sole,) = client.get("/v1/soles", params={"pair_id": pair_id}).json()["items"]
    assert sole["assumed"]
    values = {k: v for k, v in sole.items() if k not in ("sole_id", "pair_id", "version")}
    values |= {"assumed": False, "material": "rubber"}
    put = client.put(f"/v1/soles/{sole['sole_id']}", json=values, headers={"if-match": "*"})
    assert put.status_code == 200, put.text
    assert "Assumed until you look" not in client.get("/bench/w1").text


def test_a_known_customer_is_offered_and_not_made_twice(client, post, bench):
    bench.book("derby")
    shown = post("/reception/who", who="ada").text
    assert 'value="pair oxford"' in shown
    assert 'value="pair derby"' not in shown, "it is booked already"
    made = post("/reception", choice="pair oxford", order_id="w2", who="ada", price="later")
    assert made.status_code == 303
    order = client.get("/v1/bench-orders/w2").json()
    assert (order["pair_id"], order["price_minor"]) == ("oxford", None)
    assert len(client.get("/v1/wearers").json()["items"]) == 1


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"who": "Walter Q.", "what": ""}, "what"),
        ({"who": "", "what": "boot"}, "who"),
        ({"who": "Walter Q.", "what": "boot", "amount": "much"}, "amount"),
        ({"who": "Walter Q.", "what": "boot", "promised_on": "2026-01-01"}, "promised_on"),
        ({"who": "Walter Q.", "what": "boot", "phone": "none"}, "phone"),
    ],
)
def test_what_is_wrong_stands_by_its_field_and_nothing_is_made(client, post, typed, field):
    shown = form(post, order_id="w1", **typed)
    assert shown.status_code == 422
    assert f'id="r-{field}-problem"' in shown.text
    if typed["what"]:
        assert 'value="boot"' in shown.text
    assert client.get("/v1/bench-orders/w1").status_code == 404
    assert len(client.get("/v1/wearers").json()["items"]) == 1


def test_a_photograph_is_kept_with_the_order(client, post):
    page = client.get("/reception").text
    token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
    typed = {"form_token": token, "choice": "new", "order_id": "w1", "who": "W.", "what": "boot"}
    made = client.post(
        "/reception", data=typed, files={"file": ("a.png", PNG)}, follow_redirects=False
    )
    assert made.status_code == 303
    assert len(client.get("/v1/bench-orders/w1").json()["photos"]) == 1


@pytest.mark.parametrize(
    "words",
    [
        "walter",
        "WALTER q",
        "2345",
        "+43 (1) 23-45 678",
        "1",
        "#1",
        "brogue",
        "walter brogue",
        "q.@x",
    ],
)
def test_a_customer_is_found_by_whatever_is_known(client, post, words):
    form(post, order_id="w1", who="Walter Q.", phone="01 2345678", what="brown brogue")
    (_, walter) = sorted(client.get("/v1/wearers").json()["items"], key=lambda one: one["name"])
    changed = {"email": "q.@x.example"}
    address = f"/v1/wearers/{walter['wearer_id']}"
    headers = {"if-match": "*", "content-type": "application/merge-patch+json"}
    answer = client.patch(address, json=changed, headers=headers)
    assert answer.status_code == 200, answer.text
    found = post("/find-customer", q=words).text
    assert "Walter Q." in found
    assert "Ada" not in found.partition("</form>")[2].partition("<footer>")[0]


def test_a_search_without_a_match_and_an_empty_shop_say_so(bare_client, client, post):
    assert "No customer has" in post("/find-customer", q="100% nobody_").text
    assert "Ada" in client.get("/customers").text


def test_an_empty_shop_begins_with_its_first_pair(bare_client):
    assert "No customer yet" in bare_client.get("/customers").text
    assert "No customer yet" in bare_client.get("/desk").text
    assert bare_client.get("/reception").status_code == 200


@pytest.mark.parametrize(
    ("what", "read"),
    [
        ("brown brogue, needs a sole", ("brown brogue", "full_sole")),
        ("black boot needs half soles", ("black boot", "half_sole")),
        ("navy loafer: heel", ("navy loafer", "top_piece")),
        ("oxblood derby", ("oxblood derby", None)),
        ("boot, new heel block", ("boot", "heel_block")),
        (", needs a sole", (", needs a sole", None)),
    ],
)
def test_a_few_words_name_a_pair_and_its_work(what, read):
    assert read_request(what) == read


def test_hours_promised_are_summed_by_day_and_told_where_they_are_too_many():
    hours = BenchHours()  # seven hours from Monday to Friday
    promised = [(MONDAY - timedelta(days=3), 120.0), (MONDAY + timedelta(days=1), 900.0)]
    loads = day_loads(hours, promised, MONDAY, 4)
    assert [one.load_minutes for one in loads] == [120, 900, 0, 0]
    assert [one.over_minutes for one in loads] == [0, 180, 0, 0]


FULL = [{"pair_id": None, "name": f"Guest {k}", "what": "boot, sole"} for k in range(6)]


def test_reception_promises_the_first_day_that_bookings_offer_and_never_refuses_itself(client):
    """The bench fills up by receptions alone: each promise is free, and none comes earlier."""
    said = []
    for body in FULL * 6:
        (free, *_) = client.get("/v1/free-days", params={"work": "full_sole"}).json()["days"]
        made = client.post("/v1/receptions", json=body)
        assert made.status_code == 201, made.text
        said.append(made.json()["promised_on"])
        if free["day"] == MONDAY.isoformat():
            assert said[-1] == free["ready_by"]
    assert said == sorted(said)
    assert len(set(said)) > 3, "the bench is full on the first days"


def test_a_full_bench_refuses_a_promise_and_takes_it_with_a_reason(client, post):
    for body in FULL * 3:
        client.post("/v1/receptions", json=body)
    soon = {"name": "Walter Q.", "what": "boot, sole", "promised_on": "2026-06-17"}
    before = len(client.get("/v1/wearers").json()["items"])
    refused = client.post("/v1/receptions", json=soon)
    assert refused.status_code == 422, refused.text
    assert len(client.get("/v1/wearers").json()["items"]) == before
    taken = client.post("/v1/receptions", json=soon | {"overrule": "he travels"})
    assert taken.json()["promised_on"] == "2026-06-17"
    assert taken.json()["events"][0]["details"]["overruled"] == "he travels"
    typed = {"who": "Vera N.", "what": "boot, sole", "promised_on": "2026-06-17"}
    shown = form(post, order_id="w9", **typed)
    assert shown.status_code == 422
    assert 'name="overrule"' in shown.text
    made = form(post, order_id="w9", overrule="a wedding", **typed)
    assert made.headers["location"] == "/reception?order=w9"


def test_the_form_of_reception_says_the_day_that_it_then_promises(client, post):
    for body in FULL:
        client.post("/v1/receptions", json=body)
    shown = post("/reception/who", who="Walter Q.").text
    said = re.search(r"can be done by ([^.]+)\.", shown)[1]
    form(post, order_id="w1", who="Walter Q.", what="boot, sole")
    day = date.fromisoformat(client.get("/v1/bench-orders/w1").json()["promised_on"])
    assert f"{day:%a} {day.day} {day:%b}" == said


def test_the_day_and_the_ticket_name_all_works_of_a_visit(client, bench):
    order = bench.book(expected_on="2026-06-17", more_works=["top_piece", "sock"])
    for address in ("/desk", f"/bench/{order['order_id']}/ticket"):
        assert "full sole, top piece, sock" in client.get(address).text, address


def test_a_program_and_a_command_take_a_pair_in(client, services, monkeypatch):
    body = {"name": "Walter Q.", "what": "brown brogue, needs a sole", "here": False}
    made = client.post("/v1/receptions", json=body)
    assert made.status_code == 201, made.text
    assert (made.json()["stage"], made.json()["ticket"]) == ("booked", 1)
    assert client.post("/v1/receptions", json={"what": "boot"}).status_code == 422
    address = services.database.engine.url.render_as_string(hide_password=False)
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", address)
    ran = CliRunner().invoke(build_app(), ["take-in", "+43 1 99", "boot, heel", "--to-quote"])
    assert ran.exit_code == 0, ran.output
    assert "Ticket 2: top piece" in ran.output
    assert "to be quoted" in ran.output


def test_an_order_is_found_by_its_ticket(client, bench):
    orders = [bench.book(pair) for pair in ("oxford", "derby")]
    items = client.get("/v1/bench-orders", params={"ticket": 2}).json()["items"]
    assert [one["order_id"] for one in items] == [orders[1]["order_id"]]
    assert '<b class="ticket">2</b>' in client.get("/bench").text


@pytest.mark.parametrize(
    ("who", "chosen"),
    [("walter q.", "wearer"), ("+43 1 23 45", "wearer"), ("Walter", "new"), ("Vera N.", "new")],
)
def test_the_customer_of_exactly_this_name_or_number_is_chosen(client, post, who, chosen):
    form(post, order_id="w1", who="Walter Q.", phone="+43 1 2345", what="brown brogue")
    shown = post("/reception/who", who=who).text
    checked = re.findall(r'name="choice" value="(\w+)[^"]*" checked', shown)
    assert checked == ([chosen] if 'name="choice"' in shown else [])
