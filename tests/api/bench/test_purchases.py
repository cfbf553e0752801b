"""Does what is on order count, and does it come into the book once, in whole pieces?"""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from solespan.api.storage.bench.purchases import list_purchases

ITEM = {"use": "sole", "supply_days": 30, "pack_size": 4}
TODAY = "2026-06-15"


@pytest.fixture
def ordered(client):
    """Keep an item of pieces of four pairs, and order eight pairs."""
    assert client.put("/v1/stock/oak", json=ITEM).status_code == 200
    answer = client.post("/v1/purchases", json={"item_id": "oak", "quantity": 8})
    assert answer.status_code == 201, answer.text
    return answer.json()


def received(client, order, **body):
    return client.post(f"/v1/purchases/{order['purchase_id']}/receipts", json=body)


def test_an_order_is_received_in_parts_and_stands_in_the_book_once(client, ordered):
    assert (ordered["state"], ordered["expected_on"]) == ("ordered", "2026-07-15")
    part = received(client, ordered, quantity=3).json()
    assert (part["state"], part["received"]) == ("part_received", 3)
    assert received(client, ordered, quantity=6).status_code == 422, "more than was ordered"
    whole = received(client, ordered).json()
    assert (whole["state"], whole["received"], whole["closed_on"]) == ("received", 8, TODAY)
    assert received(client, ordered).status_code == 409, "it is closed"
    item = client.get("/v1/stock/oak").json()
    assert item["quantity"] == 8
    assert [move["change"] for move in item["moves"]] == [5, 3]


def test_a_receipt_sent_twice_counts_once(client, ordered):
    key = {"idempotency-key": '"once"'}
    address = f"/v1/purchases/{ordered['purchase_id']}/receipts"
    for _ in range(2):
        assert client.post(address, json={"quantity": 2}, headers=key).status_code == 201
    assert client.get("/v1/stock/oak").json()["quantity"] == 2


def test_the_same_advice_does_not_come_back_while_it_is_on_its_way(client):
    client.put("/v1/stock/oak", json=ITEM | {"supply_days": 300})

    def advised():
        return client.get("/v1/stock-advice").json()["items"][0]

    first = advised()
    assert first["order_now"] > 0
    assert first["order_now"] % 4 == 0, "whole pieces"
    body = {"item_id": "oak", "quantity": first["order_now"]}
    order = client.post("/v1/purchases", json=body).json()
    then = advised()
    assert (then["order_now"], then["on_order"]) == (0, first["order_now"])
    client.post(f"/v1/purchases/{order['purchase_id']}/cancellation")
    assert advised()["order_now"] == first["order_now"], "cancelled, so it is to be ordered again"


def test_what_jobs_at_the_shop_will_take_is_not_there_for_others(bench, client):
    client.put("/v1/stock/oak", json=ITEM)
    before = client.get("/v1/stock-advice").json()["items"][0]
    bench.moved(bench.book("derby"), "received")
    after = client.get("/v1/stock-advice").json()["items"][0]
    assert before["in_hand"] == 0
    assert after["in_hand"] == pytest.approx(after["share"], abs=0.01)


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"item_id": "elm", "quantity": 4}, 404),
        ({"item_id": "oak", "quantity": 3}, 422),
        ({"item_id": "oak", "quantity": 0}, 422),
        ({"item_id": "oak", "quantity": 4, "supplier_id": "nobody"}, 404),
        ({"item_id": "oak", "quantity": 4, "ordered_on": "2026-06-16"}, 422),
        ({"item_id": "oak", "quantity": 4, "expected_on": "2026-06-01"}, 422),
    ],
)
def test_an_order_that_cannot_be_is_refused_and_not_kept(client, body, status):
    client.put("/v1/stock/oak", json=ITEM)
    answer = client.post("/v1/purchases", json=body)
    assert answer.status_code == status, answer.text
    assert client.get("/v1/purchases").json()["items"] == []


def test_supply_is_the_suppliers_until_orders_that_came_say_otherwise(client, services):
    client.put("/v1/suppliers/tannery", json={"supply_days": 280, "supply_days_sd": 40})
    client.put("/v1/stock/oak", json={"use": "sole", "supplier_id": "tannery"})
    item = client.get("/v1/stock/oak").json()
    assert (item["supply_days"], item["supplier_id"]) == (280, "tannery")
    body = {"item_id": "oak", "quantity": 2, "ordered_on": "2026-04-16"}
    order = client.post("/v1/purchases", json=body).json()
    assert order["supplier_id"] == "tannery"
    received(client, order)
    advised = client.get("/v1/stock-advice").json()["items"][0]
    assert advised["supply_days"] == pytest.approx((3 * 280 + 60) / 4)
    with services.database.for_tenant(services.database.tenant_pk + 1).reading() as session:
        assert list_purchases(session) == [], "no other tenant sees it"


@pytest.mark.parametrize(
    "piece",
    [{"area_dm2": 5}, {"area_dm2": 100, "use": "thread"}, {"area_dm2": 9, "yield_share": 0.1}],
)
def test_a_piece_of_leather_that_gives_no_pair_is_refused(client, piece):
    assert client.put("/v1/stock/bend", json={"use": "sole"} | piece).status_code == 422
    assert client.put("/v1/stock/bend", json={"use": "sole", "area_dm2": 120}).status_code == 200
    answer = client.post("/v1/purchases", json={"item_id": "bend", "quantity": 15})
    assert answer.json()["accepted"] == "10, 20, 30, ...", "a bend gives ten pairs"


def test_weeks_of_an_item_are_told_in_order_and_sum_to_the_year(client):
    client.put("/v1/stock/oak", json=ITEM)
    weeks = client.get("/v1/stock/oak/weeks").json()["items"]
    total = client.get("/v1/workload").json()["total"]
    mean = next(row["mean"] for row in total if row["measure"] == "use_sole")
    assert sum(week["mean"] for week in weeks) == pytest.approx(mean, rel=0.05, abs=0.3)
    assert all(week["p10"] <= week["p50"] <= week["p90"] for week in weeks)
    assert client.get("/v1/stock/elm/weeks").status_code == 404


def test_a_browser_orders_receives_and_cancels_with_forms_alone(client, services):
    def send(address: str, **fields: str):
        token = re.search(r'name="form_token" value="([^"]+)"', client.get("/stock").text)[1]
        return client.post(address, data={"form_token": token} | fields)

    send("/stock/supplier", supplier_id="tannery", name="The tannery", supply_days="280")
    send("/stock", item_id="oak", use="sole", supplier_id="tannery", supply_days="")
    page = send("/stock/order", item_id="oak", quantity="6", ordered_on="2026-06-01").text
    assert "6 pairs from tannery" in page
    with services.database.reading() as session:
        (order,) = list_purchases(session)
    assert order["expected_on"] - order["ordered_on"] == timedelta(days=280)
    ours = {"purchase_id": order["purchase_id"]}
    assert "give a number above 0" in send("/stock/receive", **ours, quantity="-1").text
    assert "Came in part. 2 came." in send("/stock/receive", **ours, quantity="2").text
    assert "Nothing is on order." in send("/stock/cancel", **ours).text
    assert client.get("/v1/stock/oak").json()["quantity"] == 2
    assert "oak by week" in client.get("/stock/weeks?item=oak").text
    assert client.get("/stock/weeks?item=elm").status_code == 404
