"""Does a piece of work go from booked to returned, and nothing else?"""

from __future__ import annotations

import pytest

from solespan.api.schemas.bench.orders import Order, OrderPage
from solespan.api.schemas.bench.stock import Items

PIXEL = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de"
    "0000000c4944415408d763b8b06103000434021941e5c3cb0000000049454e44ae426082"
)


def sole_on(client, pair_id):
    soles = client.get("/v1/soles", params={"pair_id": pair_id}).json()["items"]
    return [s for s in soles if s["removed_on"] is None]


def band_of(client, pair_id):
    return client.get(f"/v1/forecasts/{pair_id}").json()["rows"][0]["band"]


def test_a_finished_job_ends_the_old_sole_and_begins_the_new_one_as_measured(bench, client, foot):
    order = bench.on_bench()
    assert band_of(client, "oxford") == "away"
    bench.file(order, "after", {"left": foot(ball=5.1), "right": foot(ball=5.3)})
    checked = bench.finish(order).json()
    assert checked["stage"] == "checked"
    (sole,) = sole_on(client, "oxford")
    assert sole["nominal_thickness_mm"] == 5.2
    assert sole["fitted_on"] == "2026-06-15"
    assert client.get("/v1/soles/oxford-1").json()["removed_on"] == "2026-06-15"
    job = client.get(f"/v1/bench-jobs/{order['order_id']}").json()
    assert (job["finished_on"], job["bench_minutes"]) == ("2026-06-15", 125)
    returned = bench.moved(checked, "returned")
    assert band_of(client, "oxford") != "away"
    forecast = client.get("/v1/forecasts/oxford").json()["rows"]
    thickness = [r["thickness_mm_p50"] for r in forecast if r["point"] == "ball"]
    assert min(thickness) > 4.5
    assert [e["to_stage"] for e in returned["events"] if "paper" not in e["details"]] == [
        "booked",
        "received",
        "on_bench",
        "checked",
        "returned",
    ]


def test_the_same_holds_on_both_databases(either_client, bench_of, foot):
    bench = bench_of(either_client)
    order = bench.on_bench()
    bench.file(order, "after", {"left": foot(), "right": foot()})
    checked = bench.finish(order).json()
    posted = bench.moved(checked, "posted_back", parcel_number="R 1234")
    assert "posted back" in either_client.get(f"/bench/{order['order_id']}").text
    assert order["order_id"] in either_client.get("/bench").text
    told = {"order_id": order["order_id"], "caption": "the welt"}
    photo = either_client.post("/v1/bench-photos", data=told, files={"file": PIXEL}).json()
    assert either_client.delete(f"/v1/bench-photos/{photo['photo_id']}").status_code == 204
    settings = {"resoles_stood": {"goodyear_welted": 6}}
    changed = either_client.put("/v1/life-settings", json=settings, headers={"if-match": "*"})
    assert changed.json()["edited"] == ["goodyear_welted"]
    assert bench.moved(posted, "returned")["parcel_out"] == "R 1234"
    (sole,) = sole_on(either_client, "oxford")
    assert sole["sole_id"] == f"{order['order_id']}-sole"


@pytest.mark.parametrize("to", ["on_bench", "checked", "posted_back", "returned", "booked"])
def test_an_impossible_step_names_the_possible_ones_and_changes_nothing(bench, client, to):
    order = bench.book()
    answer = bench.move(order, to, worker="Mo")
    assert answer.status_code == 409
    assert "received" in answer.json()["accepted"]
    again = client.get(f"/v1/bench-orders/{order['order_id']}").json()
    assert again == order


def test_two_people_cannot_finish_the_same_job(bench, client, foot):
    order = bench.on_bench()
    bench.file(order, "after", {"left": foot(), "right": foot()})
    assert bench.finish(order).status_code == 201
    second = bench.finish(order, worker="Zoe")
    assert second.status_code == 412
    assert len(sole_on(client, "oxford")) == 1
    events = client.get(f"/v1/bench-orders/{order['order_id']}").json()["events"]
    assert [e["worker"] for e in events if e["to_stage"] == "checked"] == ["Mo"]


def test_the_same_request_sent_again_is_answered_again_and_done_once(bench, client):
    order = bench.book()
    body = {"to": "received", "version": order["version"]}
    send = {"url": f"/v1/bench-orders/{order['order_id']}/moves", "json": body}
    first = client.post(**send, headers={"idempotency-key": '"k1"'})
    again = client.post(**send, headers={"idempotency-key": '"k1"'})
    assert first.json() == again.json()
    assert again.headers["idempotency-replayed"] == "true"


def test_a_pair_that_is_elsewhere_cannot_be_booked_or_received(bench, client):
    order = bench.book()
    job = {"job_id": "x", "pair_id": "oxford", "work": "top_piece", "received_on": "2026-06-10"}
    assert client.post("/v1/bench-jobs", json=job).status_code == 201
    for answer in (
        bench.move(order, "received"),
        client.post("/v1/bench-orders", json={"pair_id": "oxford", "work": "full_sole"}),
    ):
        assert answer.status_code == 409
        assert "elsewhere" in answer.json()["detail"]


@pytest.mark.parametrize(
    "change",
    [
        {"bench_minutes": -1},
        {"to": "polished"},
        {"on": "2027-01-01"},
        {"on": "2020-01-01"},
        {"version": 0},
        {"surprise": 1},
    ],
)
def test_what_cannot_be_is_refused_with_the_field_and_changes_nothing(bench, client, change):
    order = bench.book()
    answer = bench.move(order, **{"to": "received", **change})
    assert answer.status_code == 422
    assert client.get(f"/v1/bench-orders/{order['order_id']}").json() == order


def test_a_sole_is_not_stripped_before_its_record_is_taken(bench):
    order = bench.moved(bench.book(), "received")
    answer = bench.move(order, "on_bench", worker="Mo")
    assert answer.status_code == 422
    assert "before" in answer.json()["remedy"]


def test_a_measure_that_is_out_needs_a_reason_which_is_kept(bench, client, foot):
    order = bench.on_bench()
    wide = {"left": foot(), "right": foot(width=78.6)}
    bench.file(order, "after", wide)
    refused = bench.finish(order)
    assert refused.status_code == 422
    names = {m["measure"] for m in refused.json()["measures"]}
    assert names == {"right width at ball", "width at ball"}
    assert sole_on(client, "oxford")[0]["sole_id"] == "oxford-1"
    done = bench.finish(order, reasons=dict.fromkeys(names, "the welt was wider there before"))
    assert done.status_code == 201
    kept = done.json()["events"][-1]["details"]["accepted"]
    assert {k["measure"] for k in kept} == names


def test_a_paper_that_is_replaced_stays_in_the_audit(bench, foot):
    order = bench.moved(bench.book(), "received")
    bench.file(order, "before", {"left": foot(), "right": foot()})
    told = bench.file(order, "before", {"left": foot(width=77.0), "right": foot(width=77.0)})
    old = told["events"][-1]["details"]["replaced"]
    assert old["left"]["width_mm"]["ball"] == 78.0


def test_readings_at_reception_become_checks_of_the_log(bench, client):
    order = bench.moved(bench.book("derby"), "received")
    readings = [
        {"foot": "left", "point": "ball", "value_mm": 3.1, "grade": "give"},
        {"foot": "right", "point": "ball", "grade": "soft"},
    ]
    bench.file(order, "condition", {"readings": readings, "left": {"cork": "worn"}, "right": {}})
    checks = client.get("/v1/checks", params={"pair_id": "derby"}).json()["items"]
    found = {(c["foot"], c["method"], c["value_mm"], c["grade"]) for c in checks}
    assert found == {
        ("left", "caliper", 3.1, None),
        ("left", "thumb", None, "give"),
        ("right", "thumb", None, "soft"),
    }


def test_an_order_has_one_stage_at_a_time_and_is_listed_there(bench, client):
    order = bench.moved(bench.book(), "received")
    stages = ("booked", "in_post", "received", "on_bench", "checked", "posted_back", "returned")
    listed = [
        stage
        for stage in stages
        for o in client.get("/v1/bench-orders", params={"stage": stage}).json()["items"]
        if o["order_id"] == order["order_id"]
    ]
    assert listed == ["received"]


def test_an_unknown_order_and_an_unknown_pair_are_not_found(client):
    assert client.get("/v1/bench-orders/none").status_code == 404
    body = {"pair_id": "oxfrod", "work": "full_sole"}
    answer = client.post("/v1/bench-orders", json=body)
    assert answer.status_code == 404
    assert "oxford" in answer.json()["remedy"]


def test_an_order_and_an_item_answer_what_is_described_and_nothing_else(bench, client):
    order = bench.on_bench()
    Order.model_validate(client.get(f"/v1/bench-orders/{order['order_id']}").json())
    OrderPage.model_validate(client.get("/v1/bench-orders").json())
    client.put("/v1/stock/oak", json={"use": "sole"})
    Items.model_validate(client.get("/v1/stock").json())


def test_a_record_is_closed_once_the_pair_is_stripped_but_for_a_visible_correction(
    bench, client, foot
):
    order = bench.on_bench()
    path = f"/v1/bench-orders/{order['order_id']}/before"
    new = {"left": foot(ball=2.3, width=79.0), "right": foot(ball=2.2)}
    refused = client.put(path, json=new, headers={"if-match": "*"})
    assert refused.status_code == 422
    assert "stripped" in refused.text
    page = client.get(f"/bench/{order['order_id']}/before").text
    assert "Why was the record wrong?" in page
    assert client.put(path, json=new).status_code == 412
    told = new | {"correction": "the gauge slipped"}
    taken = client.put(path, json=told, headers={"if-match": '"1"'})
    assert taken.status_code == 200, taken.text
    last = taken.json()["events"][-1]["details"]
    assert last["correction"] == "the gauge slipped"
    assert last["replaced"]["left"]["width_mm"]["ball"] == 78.0
    assert "the gauge slipped" in client.get(f"/bench/{order['order_id']}").text
