"""Can the stock book be kept with a browser's forms alone, and does wrong input change nothing?"""

from __future__ import annotations

import re

import pytest

OAK = {"item_id": "oak-5mm", "use": "sole", "material": "oak_bark_leather", "thickness_mm": "5,0"}


@pytest.fixture
def send(client):
    def send(address: str, **fields: str):
        page = client.get("/stock").text
        token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
        return client.post(address, data={"form_token": token} | fields)

    return send


def test_an_item_is_kept_and_what_comes_goes_and_is_counted_is_there(client, send):
    assert "Nothing is kept yet" in client.get("/stock").text
    page = send("/stock", **OAK, supply_days="240", minimum_order="10").text
    assert "oak bark leather, 5 mm" in page
    assert "240 days" in page
    for reason, quantity, there in (("receipt", "12,5", "12.5"), ("use", "2", "10.5")):
        page = send("/stock/line", item_id="oak-5mm", reason=reason, quantity=quantity).text
        assert f"{there} pairs" in page
    assert client.get("/v1/stock/oak-5mm").json()["thickness_mm"] == 5.0


def test_the_form_leaves_what_it_does_not_ask_for(client, send):
    client.put("/v1/stock/oak-5mm", json={"use": "sole", "service_level": 0.8, "review_days": 30})
    send("/stock", **OAK)
    item = client.get("/v1/stock/oak-5mm").json()
    assert (item["service_level"], item["review_days"]) == (0.8, 30)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"item_id": ""}, "give a short name"),
        ({"item_id": "no spaces, please"}, "give a short name"),
        ({"thickness_mm": "-1"}, "give millimetres"),
        ({"supply_days": "soon"}, "give days from 0 to 1000"),
        ({"size_eu_from": "44", "size_eu_to": "40"}, "no smaller than the first"),
    ],
)
def test_a_wrong_item_is_told_beside_its_field_and_not_kept(client, send, fields, said):
    answer = send("/stock", **(OAK | fields))
    assert answer.status_code == 422
    assert said in answer.text
    assert client.get("/v1/stock").json()["items"] == []


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"quantity": "-3"}, "give a number of 0 or more"),
        ({"quantity": "9"}, "Only 2 of oak-5mm are there"),
        ({"item_id": "elm"}, "There is no stock item"),
        ({"reason": "theft"}, "choose what happened"),
    ],
)
def test_a_wrong_line_is_told_and_not_written(client, send, fields, said):
    send("/stock", **OAK)
    send("/stock/line", item_id="oak-5mm", reason="receipt", quantity="2")
    answer = send(
        "/stock/line", **({"item_id": "oak-5mm", "reason": "use", "quantity": "1"} | fields)
    )
    assert answer.status_code == 422
    assert said in answer.text.replace("&#39;", "'")
    assert client.get("/v1/stock/oak-5mm").json()["quantity"] == 2
