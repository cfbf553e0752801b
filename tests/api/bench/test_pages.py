"""Do the bench's pages show a job, and can its card be printed?"""

from __future__ import annotations

import re


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


def test_the_work_ahead_stands_in_words_and_in_a_figure(client):
    page = client.get("/workload", params={"months": 2})
    assert page.status_code == 200
    assert "In the next 2 months about" in page.text
    figure = client.get("/figures/workload.json", params={"months": 2}).json()
    assert {t["name"] for t in figure["data"]} >= {"50 %", "80 %", "95 %", "expected"}
