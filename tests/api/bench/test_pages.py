"""Do the bench's pages show a job, and can its card be printed?"""

from __future__ import annotations

import re

import pytest


def test_a_job_card_has_a_code_cautions_and_the_record_and_escapes_names(bench, client):
    order = bench.on_bench(note="<script>alert(1)</script>")
    card = client.get(f"/bench/{order['order_id']}/card")
    assert card.status_code == 200
    text = card.text
    assert "<svg" in text
    assert "style=" not in text, "the security policy refuses inline styles"
    assert "<script>" not in text
    assert "Ada &lt;b&gt;&amp;" in text
    for word in ("solvents", "dust", "Nails", "Knives", "Trimmer", "local codes"):
        assert word in text
    assert "thickness at ball" in text
    assert "2.3" in text


def test_the_bench_page_leads_to_the_job_and_the_job_to_its_papers(bench, client):
    order = bench.on_bench()
    page = client.get("/bench").text
    assert f"/bench/{order['order_id']}" in page
    job = client.get(f"/bench/{order['order_id']}").text
    assert re.search(r"On the bench|on the bench", job)
    assert "Mo" in job
    packing = client.get(f"/bench/{order['order_id']}/packing-list").text
    assert "left shoe" in packing


def test_an_unknown_job_is_a_page_that_says_so(client):
    answer = client.get("/bench/none")
    assert answer.status_code == 404
    assert "no order" in answer.text


@pytest.mark.slow
def test_the_work_ahead_stands_in_words_and_in_a_figure(client):
    page = client.get("/workload", params={"months": 2})
    assert page.status_code == 200
    assert "In the next 2 months about" in page.text
    figure = client.get("/figures/workload.json", params={"months": 2}).json()
    assert {t["name"] for t in figure["data"]} >= {"50 %", "80 %", "95 %", "expected"}


def token_of(client, page: str) -> dict[str, str]:
    return {"form_token": re.search(r'name="form_token" value="([^"]+)"', page)[1]}


def test_without_a_fit_the_work_ahead_says_what_to_do(bare_client):
    page = bare_client.get("/workload")
    assert page.status_code == 200
    assert "solespan fit" in page.text
    assert "no wear has been forecast" in page.text
    drawn = bare_client.get("/figures/bench_weeks.json").json()
    assert drawn["data"] == []


@pytest.mark.slow
def test_the_year_is_planned_on_the_page_and_stands_levelled_and_not_side_by_side(client):
    page = client.get("/workload", params={"months": 2}).text
    assert "has not been planned yet" in page
    given = token_of(client, page) | {"benches": "2"}
    wrong = client.post("/workload/plan", data=given | {"price_percent": "cheap"})
    assert wrong.status_code == 422
    assert "a whole number from 10 to 1000" in wrong.text
    assert "has not been planned yet" in wrong.text
    client.put("/v1/stock/oak-5mm", json={"use": "sole", "supply_days": 240, "minimum_order": 10})
    page = client.post("/workload/plan", data=given).text
    assert "The year is planned" in page
    for said in (
        "Nobody is asked",
        "Asked on the send-by day",
        "Levelled",
        "idle hours",
        "Waits and lead times",
    ):
        assert said in page
    assert "oak-5mm" in page
    weeks = client.get("/figures/bench_weeks.json").json()
    assert {t["name"] for t in weeks["data"]} == {
        "asked on the send-by day",
        "levelled",
        "bench open",
    }


def test_the_audit_says_what_the_stock_book_lacked_and_when_a_step_happened(bench, client, foot):
    client.put("/v1/stock/oak", json={"use": "sole", "material": "oak_bark_leather"})
    order = bench.on_bench()
    bench.file(order, "after", {"left": foot(), "right": foot()})
    assert bench.finish(order).status_code == 201
    page = client.get(f"/bench/{order['order_id']}").text
    assert "sole not taken from the stock book: not enough in the book" in page
    assert "(happened 2026-06-15)" in page, "written on another day than it happened"


@pytest.mark.parametrize("address", ["/plan", "/spread", "/care", "/what-if"])
def test_without_a_pair_the_pages_beside_the_rack_say_so_and_lead_on(bare_client, address):
    page = bare_client.get(address)
    assert page.status_code == 200
    assert "There is no pair" in page.text
    assert 'href="/add"' in page.text
    assert "Choose whose rack" not in page.text
