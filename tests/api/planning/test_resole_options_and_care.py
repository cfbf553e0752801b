"""Are routes, traits, care and cost read, changed and logged over HTTP?"""

from __future__ import annotations

import pytest

ROUTE = {
    "name": "corner bench",
    "wait_days": 1,
    "lead_days_p50": 6,
    "lead_days_p90": 9,
    "price_minor": 8000,
    "abilities": ["leather_sole"],
}


def test_defaults_are_labelled_common_practice_until_the_owner_edits_them(client):
    ask = lambda: {  # noqa: E731
        r["route_id"]: r
        for r in client.get("/v1/resole-routes", params={"wearer_id": "ada"}).json()["items"]
    }
    assert all("common practice" in r["source"] for r in ask().values())
    assert client.put("/v1/resole-routes/ada/local", json=ROUTE).status_code == 200
    after = ask()
    assert after["local"]["name"] == "corner bench"
    assert after["local"]["edited"]
    assert not after["maker"]["edited"]
    of_ben = client.get("/v1/resole-routes", params={"wearer_id": "ben"}).json()["items"]
    assert not any(r["edited"] for r in of_ben), "a route belongs to its owner"


def test_routes_are_compared_for_a_pair_and_an_occasion(client):
    client.put("/v1/resole-routes/ada/corner", json=ROUTE)
    params = {"occasion": "2026-08-15", "chance": 0.9}
    body = client.get("/v1/routes-to-sole/ada-0", params=params).json()
    assert body["items"][0]["route_id"] == "corner", "able and cheapest stands first"
    for item in body["items"]:
        assert 0.0 <= item["chance_back"] <= 1.0
        assert item["sentence"]
    assert client.get("/v1/routes-to-sole/ada-3").status_code == 422
    assert client.get("/v1/routes-to-sole/nobody").status_code == 404
    past = client.get("/v1/routes-to-sole/ada-0", params={"occasion": "2026-01-01"})
    assert past.status_code == 422


@pytest.mark.parametrize("wrong", [{"lead_days_p90": 2}, {"price_minor": -1}, {"currency": "eur"}])
def test_a_route_that_cannot_be_changes_nothing(client, wrong):
    assert client.put("/v1/resole-routes/ada/local", json=ROUTE | wrong).status_code == 422
    items = client.get("/v1/resole-routes", params={"wearer_id": "ada"}).json()["items"]
    assert not any(r["edited"] for r in items)


def test_traits_are_kept_and_a_route_that_is_not_there_is_refused(client):
    traits = {"upper": "suede", "months": [5, 6], "weight": 2.0, "route_id": "maker"}
    assert client.put("/v1/pair-traits/ada-0", json=traits).status_code == 200
    read = client.get("/v1/pair-traits/ada-0").json()
    assert read == {"pair_id": "ada-0", **traits}
    refused = client.put("/v1/pair-traits/ada-0", json=traits | {"route_id": "nowhere"})
    assert refused.status_code == 422
    assert client.get("/v1/pair-traits/ada-0").json() == read


def due(client):
    items = client.get("/v1/care", params={"wearer_id": "ada"}).json()["items"]
    return {(i["pair_id"], i["care"]): i for i in items}


def test_care_is_due_with_a_reason_and_one_action_logs_it(client):
    before = due(client)
    assert ("ada-0", "condition") in before
    assert before["ada-0", "condition"]["reason"]
    body = {"pair_id": "ada-0", "care": "condition"}
    assert client.post("/v1/care", json=body).json()["new"]
    assert not client.post("/v1/care", json=body).json()["new"], "saying it twice changes nothing"
    assert ("ada-0", "condition") not in due(client)


def test_a_rule_the_owner_changed_decides(client):
    rule = {"every_wears": 3650}
    assert client.put("/v1/care-rules/ada/smooth_calf/condition", json=rule).status_code == 200
    assert not any(care == "condition" for _, care in due(client))


def test_a_pair_away_or_retired_asks_for_no_care(client):
    assert not {pair for pair, _ in due(client)} & {"ada-2", "ada-3"}


def test_care_still_to_come_is_refused(client):
    body = {"pair_id": "ada-0", "care": "brush", "done_on": "2026-12-01"}
    assert client.post("/v1/care", json=body).status_code == 422


def test_the_cost_of_a_rack_shows_its_arithmetic(client):
    body = client.get("/v1/life", params={"wearer_id": "ada"}).json()
    assert "common practice" in body["source"]
    rows = {r["pair_id"]: r for r in body["items"]}
    assert rows["ada-3"]["verdict"] == "retired"
    live = [r["cost_per_year_minor"] for r in rows.values() if r["verdict"] != "retired"]
    assert body["cost_per_year_minor"] == pytest.approx(sum(live), abs=1)
    assert all("a wear" in r["arithmetic"] for r in rows.values())


def test_a_route_taken_away_gives_way_to_the_default_or_is_gone(client):
    for route in ("local", "corner"):
        client.put(f"/v1/resole-routes/ada/{route}", json=ROUTE)
        assert client.delete(f"/v1/resole-routes/ada/{route}").status_code == 204
    left = client.get("/v1/resole-routes", params={"wearer_id": "ada"}).json()["items"]
    assert {r["route_id"] for r in left} == {"local", "specialist", "maker"}
    assert not any(r["edited"] for r in left)


def test_a_route_that_is_a_default_or_unknown_or_in_use_stays(client):
    client.put("/v1/resole-routes/ada/corner", json=ROUTE)
    client.put("/v1/pair-traits/ada-0", json={"route_id": "corner"})
    in_use = client.delete("/v1/resole-routes/ada/corner")
    assert in_use.status_code == 409
    assert "ada-0" in in_use.json()["detail"]
    for route, said in (("maker", "is a default"), ("nowhere", "is not there")):
        refused = client.delete(f"/v1/resole-routes/ada/{route}")
        assert refused.status_code == 404
        assert said in refused.json()["detail"]
        assert refused.json()["accepted"] == "corner"
    client.put("/v1/pair-traits/ada-0", json={"route_id": None})
    assert client.delete("/v1/resole-routes/ada/corner").status_code == 204


def test_resoles_that_a_construction_stands_are_edited_by_someone_who_has_read_them(client):
    read = client.get("/v1/life-settings")
    assert read.json()["edited"] == []
    assert "common practice" in read.json()["source"]

    def left() -> dict[str, int]:
        items = client.get("/v1/life", params={"wearer_id": "ada"}).json()["items"]
        return {one["pair_id"]: one["resoles_left"] for one in items}

    before, tag = left(), {"if-match": read.headers["etag"]}
    more = {n: k + 2 for n, k in read.json()["resoles_stood"].items()}
    send = {"url": "/v1/life-settings", "json": {"resoles_stood": more}}
    assert client.put(**send).status_code == 428
    assert client.put(**send, headers=tag).json()["edited"] == sorted(more)
    assert left() == {pair: count + 2 for pair, count in before.items()}
    assert client.put(**send, headers=tag).status_code == 412
    for wrong in ({"glued": 1}, {"cemented": -1}, {"cemented": 31}):
        bad = client.put("/v1/life-settings", json={"resoles_stood": wrong}, headers=tag)
        assert bad.status_code == 422
    assert client.put("/v1/life-settings", json={}, headers={"if-match": "*"}).status_code == 200
    assert left() == before
