"""Is work refused with a reason, redone under warranty, and sent on to a maker and back?"""

from __future__ import annotations

import re
from datetime import date

import pytest

from solespan.dashboards.pages.notices.outside import answer_page

SOLE = {"material": "oak_bark_leather", "channel": "closed"}


def jobs(client) -> list[dict]:
    return client.get("/v1/bench-jobs", params={"pair_id": "oxford"}).json()["items"]


def page(client, order: dict) -> str:
    return client.get(f"/bench/{order['order_id']}").text


@pytest.fixture
def returned(bench, client, foot) -> dict:
    order = bench.on_bench(work="full_sole")
    bench.file(order, "after", {"left": foot(), "right": foot()})
    order = bench.finish(order).json()
    return bench.moved(order, "returned")


@pytest.mark.parametrize("stage", ["booked", "received", "on_bench"])
def test_a_refusal_needs_its_reason_closes_the_order_and_leaves_no_job(bench, client, stage):
    order = bench.on_bench() if stage == "on_bench" else bench.book()
    if stage == "received":
        order = bench.moved(order, "received")
    told = bench.move(order, "refused")
    assert told.status_code == 422
    assert "reason" in told.json()["detail"]
    assert bool(jobs(client)) == (stage != "booked")
    order = bench.moved(order, "refused", note="The upper is torn at the feather.")
    assert order["reason"] == "The upper is torn at the feather."
    assert not jobs(client), "no work was done, so the pair is at home and no job is logged"
    assert "Refused: The upper is torn at the feather." in page(client, order)
    assert bench.move(order, "received").status_code == 409
    assert bench.book()["stage"] == "booked", "another order is possible"


def test_the_page_refuses_and_says_beside_the_field_what_is_missing(bench, client):
    order = bench.book()
    token = re.search(r'name="form_token" value="([^"]*)"', page(client, order)).group(1)
    form = {"form_token": token, "to": "refused", "version": str(order["version"])}
    path = f"/bench/{order['order_id']}/moves"
    missing = client.post(path, data=form, follow_redirects=False)
    assert missing.status_code == 422
    assert 'id="s-refused-note-problem"' in missing.text
    done = client.post(path, data=form | {"note": "Mould."}, follow_redirects=False)
    assert done.status_code == 303


def test_a_pair_sent_on_takes_no_bench_hours_and_comes_back_on_its_day(bench, client):
    order = bench.moved(bench.book(), "received")
    assert bench.move(order, "sent_on").status_code == 422
    early = bench.move(order, "sent_on", sent_to="The maker", back_on="2026-06-01")
    assert early.status_code == 422
    order = bench.moved(order, "sent_on", sent_to="The maker", back_on="2026-08-20")
    assert (order["sent_to"], order["back_on"]) == ("The maker", "2026-08-20")
    assert [job["returned_on"] for job in jobs(client)] == [None], "the pair is away still"
    board = client.get("/bench").text
    assert "at The maker, back Thu 20 Aug" in board
    assert "back on 2026-08-20" in page(client, order)
    back = bench.moved(order, "received")
    assert (back["back_on"], back["sent_to"]) == (None, "The maker")
    assert len(jobs(client)) == 1


def test_a_makers_sole_is_measured_and_takes_nothing_from_our_stock(bench, client, foot):
    item = {"use": "sole", "material": "oak_bark_leather", "supply_days": 9, "supply_days_sd": 3}
    client.put("/v1/stock/soles", json=item)
    client.post("/v1/stock/soles/lines", json={"reason": "receipt", "quantity": 2})
    order = bench.moved(bench.book(), "received")
    bench.file(order, "before", {"left": foot(ball=2.2), "right": foot(ball=2.2)})
    order = bench.moved(order, "sent_on", sent_to="The maker")
    bench.file(order, "after", {"left": foot(), "right": foot()})
    done = bench.move(order, "checked", new_sole=SOLE)
    assert done.status_code == 201, done.text
    soles = client.get("/v1/soles", params={"pair_id": "oxford"}).json()["items"]
    assert {s["sole_id"] for s in soles if s["removed_on"] is None} == {f"{order['order_id']}-sole"}
    assert client.get("/v1/stock/soles").json()["quantity"] == 2


def test_work_is_redone_under_warranty_free_and_the_owners_habits_learn_nothing(
    bench, client, returned
):
    first = page(client, returned)
    assert f"/bench?redo={returned['order_id']}#book" in first
    form = client.get("/bench", params={"redo": returned["order_id"]}).text
    fields = dict(
        re.findall(r'name="(form_token|warranty_of|order_id|pair)" value="([^"]*)"', form)
    )
    assert fields["warranty_of"] == returned["order_id"]
    asked = fields | {"work": "full_sole", "price": "0", "currency": "EUR"}
    missing = client.post("/bench", data=asked, follow_redirects=False)
    assert missing.status_code == 422
    assert "say why it is redone" in missing.text
    answer = client.post("/bench", data=asked | {"reason": "The seam opened."},
                         follow_redirects=False)  # fmt: skip
    assert answer.status_code == 303, answer.text
    again = client.get(f"/v1/bench-orders/{fields['order_id']}").json()
    assert (again["price_minor"], again["reason"]) == (0, "The seam opened.")
    assert "Redone under warranty: The seam opened." in page(client, again)
    again = bench.moved(again, "received")
    assert not again["advised"]
    (job,) = [job for job in jobs(client) if job["job_id"] == again["order_id"]]
    assert job["advised"], "the sole that comes off is not judged as worn"


@pytest.mark.parametrize(
    "more",
    [
        {"warranty_of": "none", "reason": "x"},
        {"warranty_of": None, "reason": "x"},
        {"reason": "x", "of_open": True},
    ],
)
def test_what_was_not_done_is_not_redone(bench, client, more):
    order = bench.book()
    if more.pop("of_open", False):
        more["warranty_of"] = order["order_id"]
    body = {"pair_id": "oxford", "work": "full_sole", **more}
    assert client.post("/v1/bench-orders", json=body).status_code in (404, 422)


@pytest.mark.parametrize(
    ("order", "words"),
    [
        ({"stage": "sent_on", "back_on": date(2026, 8, 20)}, "expect it back on 20 August 2026"),
        ({"stage": "sent_on", "back_on": None}, "with its maker"),
        ({"stage": "refused", "reason": "Mould."}, "do not take the work: Mould."),
        ({"stage": "on_bench"}, "with us already"),
    ],
)
def test_the_customers_page_says_where_the_pair_is(order, words):
    told = {"label": "Oxford", "when": "soon", "bring_by": "by May"}
    page = answer_page("book", told, answered=None, done=False, order=order, dates=None)
    assert words in page["done"]
    assert not page["shows_form"]
