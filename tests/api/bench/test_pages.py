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
    assert {t["name"] for t in weeks["data"]} == {"asked on the send-by day", "levelled"}
    said = [note["text"] for note in weeks["layout"]["annotations"]]
    assert said == ["bench open up to 35 h, above this scale"]


@pytest.mark.slow
def test_page_service_and_sheet_say_the_same_of_another_bench_and_of_leather(client):
    settings = {"leather_cost_minor": {"sole": 2800}, "benches": 2}
    settings["closures"] = [{"first_on": "2026-08-03", "last_on": "2026-08-14"}]
    answer = client.put("/v1/bench-settings", json=settings, headers={"If-Match": "*"})
    assert answer.status_code == 200, answer.text
    client.put("/v1/stock/oak-5mm", json={"use": "sole", "supply_days": 30})
    line = {"reason": "count", "quantity": 3}
    client.post("/v1/stock/oak-5mm/lines", json=line)
    body = client.get("/v1/workload", params={"benches": 1, "by": "week"}).json()
    now, less = body["benches"]
    assert (now["benches"], less["benches"]) == (2, 1)
    assert now["open_hours"]["mean"] == 2 * less["open_hours"]["mean"]
    assert now["wait_days_p90"]["mean"] <= less["wait_days_p90"]["mean"]
    assert now["weeks_over"] == body["weeks_over"] <= less["weeks_over"]
    page = client.get("/workload", params={"benches": 1}).text
    assert f"With 1 bench: {less['open_hours']['mean']:,.0f} open hours" in page
    assert "one bench less" in page
    assert "Leather worth 84 EUR is in stock today" in page
    drawn = client.get("/figures/leather.json").json()["data"][-1]
    assert drawn["y"] == [round(week["mean"] / 100, 2) for week in body["leather"]]
    sheet = client.get("/workload/year-plan").text
    jobs = next(row for row in body["total"] if row["measure"] == "jobs")
    assert f"{jobs['mean']:,.0f} jobs" in sheet
    assert "2026-08-03 to 2026-08-14" in sheet
    owners = sheet[sheet.index("Owners to ask") :].split("</tr>")[0]
    asked = client.get("/v1/asked-pairs").json()["counts"]["asked"]
    assert sum(map(int, re.findall(r"<td>(\d+)</td>", owners))) == asked
    assert "style=" not in sheet, "the security policy refuses inline styles"
    refused = client.get("/workload", params={"benches": "many"})
    assert refused.status_code == 422
    assert "a whole number from 1 to 50" in refused.text


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
