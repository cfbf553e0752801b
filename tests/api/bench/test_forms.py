"""Can the bench's work be done on its pages, without script, and is nothing typed ever lost?"""

from __future__ import annotations

import html
import re
import struct
import zlib

import pytest

pytestmark = pytest.mark.slow  # the browser's walk through the bench is short; these are not


@pytest.fixture
def page(client):
    """A browser without script on the bench's pages."""
    client.cookies.clear()
    client.get("/bench")
    yield Page(client)
    client.cookies.clear()


class Page:
    """Fills in a form as it stands in a page, and sends it."""

    def __init__(self, client) -> None:
        self.client = client
        self.text = ""

    def open(self, address: str) -> str:
        self.text = self.client.get(address).text
        return self.text

    def fields(self, action: str, to: str = "") -> dict[str, str]:
        """What a browser would send of a form as it is."""
        for tag, body in re.findall(r"<form([^>]*)>(.*?)</form>", self.text, re.DOTALL):
            stands = _fields(body)
            if f'action="{action}"' in tag and (not to or stands.get("to") == to):
                return stands
        raise AssertionError(f"no form {action} {to} in the page")

    def send(self, action: str, to: str = "", files=None, **typed: str):
        data = self.fields(action, to) | typed
        answer = self.client.post(action, data=data, files=files, follow_redirects=False)
        if answer.status_code == 303:
            self.open(answer.headers["location"])
        else:
            self.text = answer.text
        return answer

    def said(self) -> str:
        return html.unescape(re.sub(r"<[^>]+>", " ", self.text))


def _fields(body: str) -> dict[str, str]:
    found = {}
    for tag in re.findall(r"<input([^>]*)>", body):
        name = re.search(r'name="([^"]*)"', tag)
        value = re.search(r'value="([^"]*)"', tag)
        if name and 'type="file"' not in tag and ("checkbox" not in tag or "checked" in tag):
            found[html.unescape(name[1])] = html.unescape(value[1]) if value else ""
    for name, options in re.findall(
        r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', body, re.DOTALL
    ):
        chosen = re.search(r'value="([^"]*)" selected', options)
        found[name] = (chosen or re.search(r'value="([^"]*)"', options))[1]
    return found


def shoes(ball: float, **right: str) -> dict[str, str]:
    both = {
        f"{foot}-{name}": value
        for foot in ("left", "right")
        for name, value in {
            "thickness-ball": f"{ball}".replace(".", ","),
            "width-ball": "78",
            "heel_layers_mm": "6, 4 4",
        }.items()
    }
    return both | {f"right-{name.replace('__', '-')}": value for name, value in right.items()}


def picture(width: int = 4) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    head = struct.pack(">IIBBBBB", width, 2, 8, 2, 0, 0, 0)
    rows = zlib.compress((b"\x00" + b"\x80\x60\x40" * width) * 2)
    parts = [(b"IHDR", head), (b"tEXt", b"Comment\x00at home"), (b"IDAT", rows), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(kind, data) for kind, data in parts)


def booked(page: Page) -> str:
    """Book a full sole in; return the job's address."""
    page.open("/bench")
    assert page.send("/bench", pair="oxford", work="full_sole").status_code == 303
    return re.search(r'action="(/bench/[^"/]+)/moves"', page.text)[1]


def on_the_bench(page: Page) -> str:
    """Book a full sole in and take it to the bench; return the job's address."""
    job = booked(page)
    page.send(f"{job}/moves", "received")
    page.open(f"{job}/before")
    assert page.send(f"{job}/before", **shoes(2.3), channel="closed").status_code == 303
    assert page.send(f"{job}/moves", "on_bench", worker="Mo").status_code == 303
    return job


def test_a_pair_goes_from_booked_to_returned_on_the_pages_alone(page, client):
    page.open("/bench")
    page.send("/bench", pair="oxford", work="full_sole", by_post="true", price="110,50")
    assert "booked in" in page.said()
    job = re.search(r'action="(/bench/[^"/]+)/moves"', page.text)[1]
    page.send(f"{job}/moves", "in_post", parcel_number="RR 1 2")
    page.send(f"{job}/moves", "received")
    assert f'href="{job}/before"' in page.text, "the record comes before stripping"
    page.open(f"{job}/condition")
    condition = {"left-ball-mm": "2,2", "left-ball-grade": "soft", "right-welt": "worn"}
    page.send(f"{job}/condition", **condition)
    page.open(f"{job}/before")
    page.send(f"{job}/before", **shoes(2.3), channel="closed", toe_plate="no")
    page.send(f"{job}/moves", "on_bench", worker="Mo")
    page.open(f"{job}/after")
    assert "was 2.3" in page.text
    page.send(f"{job}/after", **shoes(5.2), channel="closed", toe_plate="no")
    page.send(f"{job}/moves", "checked", bench_minutes="125", material="oak_bark_leather")
    page.send(f"{job}/moves", "posted_back", parcel_number="RR 3 4")
    page.send(f"{job}/moves", "returned")
    assert "This order is closed: returned." in page.said()
    order = client.get(f"/v1/bench-orders/{job.rsplit('/', 1)[1]}").json()
    assert (order["price_minor"], order["currency"]) == (11050, "EUR")
    assert (order["parcel_in"], order["parcel_out"]) == ("RR 1 2", "RR 3 4")
    assert order["papers"]["before"]["left"]["heel_layers_mm"] == [6, 4, 4]
    for said in ("condition report filed", "record before stripping filed", "checked", "Mo"):
        assert said in page.said()
    soles = client.get("/v1/soles", params={"pair_id": "oxford"}).json()["items"]
    assert [s["nominal_thickness_mm"] for s in soles if s["removed_on"] is None] == [5.2]


def test_a_measure_that_is_out_is_shown_and_needs_a_reason(page, client):
    job = on_the_bench(page)
    page.open(f"{job}/after")
    page.send(f"{job}/after", **shoes(5.0, width__ball="78.9"), channel="closed")
    assert "Measures that are out" in page.text
    refused = page.send(f"{job}/moves", "checked", bench_minutes="100")
    assert refused.status_code == 422
    assert "measures are out" in page.said()
    stands = page.fields(f"{job}/moves", "checked")
    assert stands["bench_minutes"] == "100", "what was typed is kept"
    reasons = {name: "the welt was wider" for name in stands if name.startswith("reason:")}
    assert len(reasons) == 2
    assert page.send(f"{job}/moves", "checked", **reasons).status_code == 303
    assert "right width at ball: the welt was wider" in page.said()


def test_two_people_finishing_the_same_job_is_told_and_loses_nothing(page, client):
    job = on_the_bench(page)
    page.open(f"{job}/after")
    page.send(f"{job}/after", **shoes(5.0), channel="closed")
    first = page.text
    page.send(f"{job}/moves", "checked", bench_minutes="100", worker="Zoe")
    page.text = first
    second = page.send(f"{job}/moves", "checked", bench_minutes="133", note="mind the welt")
    assert second.status_code == 409
    said = page.said()
    assert "Zoe took this order to checked while this page was open" in said
    assert "133" in said
    assert "mind the welt" in said
    order = client.get(f"/v1/bench-orders/{job.rsplit('/', 1)[1]}").json()
    assert order["bench_minutes"] == 100
    assert [e["to_stage"] for e in order["events"]].count("checked") == 1


def test_the_booking_form_sent_twice_books_once(page, client):
    page.open("/bench")
    before = page.text
    for _ in range(2):
        page.text = before
        assert page.send("/bench", pair="derby", work="top_piece").status_code == 303
    orders = client.get("/v1/bench-orders", params={"pair_id": "derby"}).json()["items"]
    assert len(orders) == 1


def test_a_day_that_is_not_free_asks_for_a_reason_and_keeps_what_was_typed(page):
    page.open("/bench")
    typed = {"pair": "oxford", "work": "full_sole", "expected_on": "2026-06-20", "note": "red"}
    assert page.send("/bench", **typed).status_code == 422
    assert page.fields("/bench")["note"] == "red"
    assert "closed on Sat 20 Jun 2026" in page.said()
    assert page.send("/bench", overrule="Agreed by telephone", **typed).status_code == 303
    assert "Booked anyway: Agreed by telephone" in page.said()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"pair": "nobody"}, "no pair has this id or label"),
        ({"pair": ""}, "name a pair"),
        ({"expected_on": "soon"}, "give a day as YYYY-MM-DD"),
        ({"expected_on": "2020-01-01"}, "2020-01-01 is past"),
        ({"price": "cheap"}, "give an amount of 0 or more"),
    ],
)
def test_a_booking_that_cannot_be_keeps_what_was_typed(page, client, typed, said):
    page.open("/bench")
    given = {"pair": "oxford", "work": "full_sole", "note": "mind the welt", **typed}
    assert page.send("/bench", **given).status_code == 422
    assert said in page.said()
    assert page.fields("/bench")["note"] == "mind the welt"
    assert client.get("/v1/bench-orders").json()["items"] == []


def test_a_paper_with_a_wrong_measure_keeps_every_other_and_files_nothing(page, client):
    job = booked(page)
    page.send(f"{job}/moves", "received")
    page.open(f"{job}/before")
    wrong = page.send(f"{job}/before", **shoes(2.3, thickness__ball="52"), nails="x")
    assert wrong.status_code == 422
    assert "give a number from 0 to 40 mm" in page.said()
    assert page.fields(f"{job}/before")["left-thickness-ball"] == "2,3"
    assert page.send(f"{job}/before", **{"right-thickness-ball": "2.4"}).status_code == 303
    page.open(f"{job}/condition")
    assert page.send(f"{job}/condition", **{"left-toe-mm": "-1"}).status_code == 422
    assert "Correct the marked field" in page.said()
    order = client.get(f"/v1/bench-orders/{job.rsplit('/', 1)[1]}").json()
    assert set(order["papers"]) == {"before"}
    assert page.open(f"{job}/before").count('value="2.4"') == 1, "what is filed stands in the form"


def test_a_paper_of_another_stage_is_refused_with_what_was_typed(page):
    job = booked(page)
    page.open(f"{job}/before")
    assert page.send(f"{job}/before", **shoes(5.1)).status_code == 409
    assert "this order is booked" in page.said()
    assert page.fields(f"{job}/before")["left-thickness-ball"] == "5,1"


def test_a_photograph_is_added_shown_from_our_own_address_and_taken_away(page, client):
    booked(page)
    file = {"file": ("shoe.png", picture(), "image/png")}
    assert page.send("/bench-photographs", files=file, caption="the welt").status_code == 303
    address = re.search(r'<img src="(/bench-photographs/[^"]+)" alt="the welt"', page.text)[1]
    shown = client.get(address)
    assert shown.headers["content-type"] == "image/png"
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert b"at home" not in shown.content
    page.send(f"{address}/taken-away")
    assert "photograph taken away" in page.said()
    assert client.get(address).status_code == 404
    assert page.client.delete(f"/v1/bench-photos/{address.rsplit('/', 1)[1]}").status_code == 404


@pytest.mark.parametrize(
    ("content", "status", "said"),
    [
        (b"", 422, "No picture was chosen"),
        (b"GIF89a", 422, "no photograph that can be kept"),
        (b"\xff\xd8\xff" + b"0" * (8 * 1024 * 1024), 413, "too large"),
    ],
)
def test_what_is_no_photograph_is_refused_and_its_caption_kept(page, content, status, said):
    booked(page)
    file = {"file": ("x.jpg", content, "image/jpeg")}
    assert page.send("/bench-photographs", files=file, caption="the welt").status_code == status
    assert said in page.said()
    assert page.fields("/bench-photographs")["caption"] == "the welt"


@pytest.mark.parametrize("action", ["/bench", "/bench/x/moves", "/bench/x/before"])
def test_a_form_without_the_token_of_this_browser_changes_nothing(client, action):
    client.cookies.clear()
    answer = client.post(action, data={"pair": "oxford", "work": "full_sole"})
    assert answer.status_code == 422
    assert "send it again" in answer.text
    assert client.get("/v1/bench-orders").json()["items"] == []


def test_the_day_shows_what_comes_what_waits_and_what_is_late(page, bench, services):
    bench.book("derby", "top_piece", expected_on="2026-06-15")
    late = {"promised_on": "2026-06-15", "overrule": "He waits here"}
    received = bench.moved(bench.book(**late, note="x"), "received")
    page.open("/bench")
    assert "1 pair expected today, none on the bench, 1 waiting for it, none late." in page.said()
    assert "came today, promised today" in page.said()
    later = services.clock.today().replace(day=18)
    shown = _board(services, later)
    assert [row["when"] for row in shown["late"]] == [
        "expected 3 days ago, not here",
        "promised 3 days ago, received",
    ]
    assert received["order_id"] in {row["order_id"] for row in shown["late"]}


def _board(services, today):
    from solespan.api.storage.bench.orders import count_open, open_orders
    from solespan.dashboards.pages.bench.bench import bench_page

    with services.database.reading() as session:
        orders = open_orders(session, 50)
        return bench_page(orders, total=count_open(session), today=today)


def test_without_orders_the_page_says_what_to_do(page):
    page.open("/bench")
    assert "No order is open" in page.said()
    assert page.fields("/bench")["currency"] == "EUR"
