"""Does a quote stand on its page, and does the order follow the customer's yes?"""

from __future__ import annotations

import re

import pytest

SEEN = dict.fromkeys(
    ("stitching", "welt", "heel_block", "toe", "shank", "cork", "uppers", "insole"), "good"
)


def field(page: str, name: str) -> str:
    return re.search(rf'name="{name}" value="([^"]*)"', page).group(1)


def test_the_page_shows_ways_what_was_found_and_the_layers(bench, client):
    order = bench.book()
    page = client.get(f"/bench/{order['order_id']}/quote").text
    for words in ("Full sole", "Half sole", "Wear days bought", "outsole", "top piece", "welt"):
        assert words in page, words
    assert "The price stands only after this was seen" in page, "nobody has looked yet"
    assert f"/bench/{order['order_id']}/quote" in client.get(f"/bench/{order['order_id']}").text


def test_the_order_follows_the_yes_and_a_second_yes_is_late(bench, client):
    order = bench.book()
    path = f"/bench/{order['order_id']}/quote"
    page = client.get(path).text
    form = {n: field(page, n) for n in ("form_token", "version")} | {"works": "half_sole"}
    answer = client.post(path, data=form, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    after = client.get(f"/v1/bench-orders/{order['order_id']}").json()
    quoted = client.get("/v1/quotes/oxford").json()
    way = next(w for w in quoted["alternatives"] if w["works"] == ["half_sole"])
    assert (after["work"], after["price_minor"]) == ("half_sole", way["price_minor"])
    assert after["events"][-1]["details"]["agreed"] == ["half_sole"]
    assert "agreed: half sole" in client.get(f"/bench/{order['order_id']}").text
    late = client.post(path, data=form, follow_redirects=False)
    assert late.status_code == 409
    assert "changed this order" in late.text


def test_works_that_cannot_stand_together_are_refused_and_change_nothing(bench, client):
    order = bench.book()
    path = f"/v1/bench-orders/{order['order_id']}/agreements"
    both = ["full_sole", "half_sole"]
    for works, status in ((both, 409), ([], 422), (["polish"], 422)):
        body = {"works": works, "version": order["version"]}
        assert client.post(path, json=body).status_code == status
    after = client.get(f"/v1/bench-orders/{order['order_id']}").json()
    assert (after["work"], after["version"]) == (order["work"], order["version"])


def test_several_works_are_quoted_as_one_visit_and_followed_to_the_finished_pair(
    bench, client, foot
):
    item = {"use": "top_piece", "supply_days": 9, "supply_days_sd": 3, "minimum_order": 1}
    client.put("/v1/stock/top", json=item | {"service_level": 0.9})
    client.post("/v1/stock/top/lines", json={"reason": "receipt", "quantity": 5})
    order = bench.book(work="sock")
    path = f"/bench/{order['order_id']}/quote"
    ticked = {f"works_{work}": "true" for work in ("half_sole", "top_piece", "shank")}
    page = client.get(path, params=ticked).text
    assert "Half sole, top piece, shank" in page
    works = re.search(r'name="works" value="(half_sole top_piece shank)"', page).group(1)
    form = {n: field(page, n) for n in ("form_token", "version")} | {"works": works}
    assert client.post(path, data=form, follow_redirects=False).status_code == 303
    after = client.get(f"/v1/bench-orders/{order['order_id']}").json()
    assert (after["work"], after["more_works"]) == ("half_sole", "top_piece shank")
    told = client.get("/v1/quotes/oxford", params={"works": works.split()}).json()
    alone = [w for w in told["alternatives"] if w["works"] == ["half_sole"]]
    assert after["price_minor"] == told["chosen"]["price_minor"] > alone[0]["price_minor"]
    assert "half sole, top piece, shank" in client.get("/bench").text
    assert "Half sole, top piece, shank" in client.get(f"/bench/{order['order_id']}").text
    order = bench.moved(after, "received")
    assert client.get(f"/v1/bench-jobs/{order['order_id']}").json()["more_works"] == (
        "top_piece shank"
    )
    bench.file(order, "before", {"left": foot(ball=2.4), "right": foot(ball=2.4)})
    order = bench.moved(order, "on_bench", worker="Mo")
    bench.file(order, "after", {"left": foot(ball=4.5), "right": foot(ball=4.5)})
    answer = bench.move(
        order,
        "checked",
        bench_minutes=100,
        new_sole={"material": "oak_bark_leather", "cover": "half"},
    )
    assert answer.status_code == 201, answer.text
    assert client.get("/v1/stock/top").json()["quantity"] == 4


def test_a_choice_that_clashes_is_told_on_the_page(bench, client):
    path = f"/bench/{bench.book()['order_id']}/quote"
    page = client.get(path, params={"works_full_sole": "true", "works_half_sole": "true"})
    assert page.status_code == 200
    assert "cannot be done together" in page.text
    assert 'name="works_half_sole" value="true" checked' in page.text


def test_a_booking_takes_several_works_and_the_main_one_stands_first(bench, client):
    order = bench.book(work="top_piece", more_works=["half_sole", "top_piece"])
    assert (order["work"], order["more_works"]) == ("half_sole", "top_piece")
    page = client.get("/bench").text
    form = {
        "form_token": field(page, "form_token"),
        "pair": "derby",
        "work": "sock",
        "more_works_shank": "true",
    }
    answer = client.post("/bench", data=form, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    made = client.get("/v1/bench-orders", params={"pair_id": "derby"}).json()["items"]
    assert (made[0]["work"], made[0]["more_works"]) == ("sock", "shank")


def test_a_received_pair_takes_the_agreed_work_into_its_job(bench, client):
    order = bench.book()
    moved = bench.moved(order, "received")
    body = {"works": ["half_sole"], "version": moved["version"]}
    path = f"/v1/bench-orders/{order['order_id']}/agreements"
    assert client.post(path, json=body).status_code == 201
    assert client.get(f"/v1/bench-jobs/{order['order_id']}").json()["work"] == "half_sole"


@pytest.mark.parametrize(
    ("part", "state", "leads_to", "work"),
    [
        ("shank", "broken", "work", "shank"),
        ("cork", "wet", "open first", "full_sole"),
        ("uppers", "broken", "question", None),
        ("insole", "good", "leave it", None),
    ],
)
def test_the_condition_report_leads_to_the_quote(bench, client, part, state, leads_to, work):
    order = bench.moved(bench.book(), "received")
    shoe = {**SEEN, part: state}
    bench.file(order, "condition", {"readings": [], "left": SEEN, "right": shoe})
    found = client.get("/v1/quotes/oxford").json()["findings"]
    (one,) = [f for f in found if f["part"] == part]
    assert (one["leads_to"], one["work"]) == (leads_to, work)


def test_a_welt_that_is_not_there_is_not_booked(client):
    client.post(
        "/v1/pairs", json={"pair_id": "loafer", "wearer_id": "ada", "construction": "cemented"}
    )
    client.post(
        "/v1/soles",
        json={
            "sole_id": "loafer-1", "pair_id": "loafer", "fitted_on": "2026-01-01",
            "material": "rubber", "nominal_thickness_mm": 5.0,
        },
    )  # fmt: skip
    answer = client.post("/v1/bench-orders", json={"pair_id": "loafer", "work": "rewelt"})
    assert answer.status_code == 422
    assert "no welt" in answer.text


def test_a_guard_on_a_new_sole_is_one_order_and_lies_over_the_sole_that_stands(bench, client, foot):
    order = bench.on_bench(pair_id="derby", work="full_sole", more_works=["guard"])
    bench.file(order, "after", {"left": foot(), "right": foot()})
    answer = bench.finish(order)
    assert answer.status_code == 201, answer.text
    soles = client.get("/v1/soles", params={"pair_id": "derby"}).json()["items"]
    new = sorted(soles, key=lambda sole: sole["fitted_on"])[-2:]
    assert [(s["cover"], s["material"]) for s in new] == [
        ("full", "oak_bark_leather"),
        ("guard", "rubber"),
    ]
    quoted = client.get("/v1/quotes/derby").json()
    ground = [x for x in quoted["layers"] if x["part"] in ("outsole", "guard")]
    assert [(x["part"], x["limit_mm"]) for x in ground] == [("outsole", 2.0), ("guard", 0.4)]
    works = {one["work"] for one in quoted["needed"]}
    assert works <= {"guard"}, "the new sole below the guard is not due"


def test_a_finished_guard_lies_over_the_sole_and_is_read_as_one(bench, client):
    order = bench.book("derby", "guard")
    for to in ("received", "on_bench", "checked"):
        order = bench.moved(order, to, worker="Mo")
    soles = client.get("/v1/soles", params={"pair_id": "derby"}).json()["items"]
    on = [s for s in soles if s["removed_on"] is None]
    assert [(s["cover"], s["nominal_thickness_mm"]) for s in on] == [("guard", 1.8)]
    quoted = client.get("/v1/quotes/derby").json()
    ground = [x for x in quoted["layers"] if x["part"] in ("outsole", "guard")]
    assert [(x["part"], x["material"], x["limit_mm"]) for x in ground] == [
        ("outsole", "oak_bark_leather", 2.0),
        ("guard", "rubber", 0.4),
    ]
    assert quoted["soles_left"] == 5, "a guard is no new sole"
