"""Do all six kinds of record behave alike: create, read, list, replace, delete?"""

from __future__ import annotations

import pytest

PATHS = ("wearers", "pairs", "soles", "wear-days", "checks", "bench-jobs")
CHANGES = {
    "wearers": {"name": "Cleo"},
    "pairs": {"construction": "blake", "label": "brown monk"},
    "soles": {"fitted_on": "2026-06-02", "material": "rubber", "nominal_thickness_mm": 6},
    "wear-days": {"hours": 4},
    "checks": {"grade": "give"},
    "bench-jobs": {"work": "full_sole", "received_on": "2026-06-01"},
}


@pytest.fixture(params=PATHS)
def path(request):
    return request.param


@pytest.fixture
def created(logged, bodies, path):
    return logged.post(f"/v1/{path}", json=bodies[path])


def test_a_created_record_is_found_at_its_location_with_the_same_content(
    logged, created, bodies, path
):
    assert created.status_code == 201
    found = logged.get(created.headers["location"])
    assert found.json() == created.json()
    assert found.headers["etag"] == created.headers["etag"] == '"1"'
    assert bodies[path].items() <= created.json().items()


def test_the_same_record_again_changes_nothing_and_says_so(logged, created, bodies, path):
    again = logged.post(f"/v1/{path}", json=bodies[path])
    assert (again.status_code, again.json()) == (200, created.json())


def test_a_taken_key_with_other_values_is_a_conflict(logged, created, bodies, path):
    other = bodies[path] | CHANGES[path]
    answer = logged.post(f"/v1/{path}", json=other)
    assert answer.status_code == 409
    assert logged.get(created.headers["location"]).json() == created.json()


def test_a_known_etag_gets_304_without_a_body(logged, created):
    answer = logged.get(
        created.headers["location"], headers={"if-none-match": created.headers["etag"]}
    )
    assert (answer.status_code, answer.content) == (304, b"")


def test_a_replaced_record_has_the_new_values_and_defaults_and_the_next_version(
    logged, created, path
):
    where = created.headers["location"]
    answer = logged.put(where, json=CHANGES[path], headers={"if-match": '"1"'})
    assert answer.status_code == 200, answer.text
    assert answer.headers["etag"] == '"2"'
    assert CHANGES[path].items() <= answer.json().items()
    assert logged.get(where).json() == answer.json()


def test_replacing_with_the_same_values_keeps_the_version(logged, created, path):
    where = created.headers["location"]
    first = logged.put(where, json=CHANGES[path], headers={"if-match": '"1"'})
    again = logged.put(where, json=CHANGES[path], headers={"if-match": '"2"'})
    assert again.json() == first.json()


def test_a_change_without_version_is_refused_and_a_stale_one_too(logged, created, path):
    where = created.headers["location"]
    for method, more in (("PUT", {"json": CHANGES[path]}), ("DELETE", {})):
        assert logged.request(method, where, **more).status_code == 428
        for tag in ('"7"', 'W/"1"', "nonsense"):
            answer = logged.request(method, where, headers={"if-match": tag}, **more)
            assert answer.status_code == 412, (method, tag)
    assert logged.get(where).json() == created.json()


def test_a_star_means_whichever_version_stands_there(logged, created, path):
    where = created.headers["location"]
    answer = logged.put(where, json=CHANGES[path], headers={"if-match": "*"})
    assert answer.status_code == 200


def test_a_deleted_record_is_gone(logged, created):
    where = created.headers["location"]
    assert logged.delete(where, headers={"if-match": '"1"'}).status_code == 204
    assert logged.get(where).status_code == 404
    assert logged.delete(where, headers={"if-match": '"1"'}).status_code == 404


def test_unknown_fields_and_parameters_are_refused_by_name(logged, created, bodies, path):
    where = created.headers["location"]
    for answer in (
        logged.post(f"/v1/{path}", json=bodies[path] | {"stripes": "brown"}),
        logged.put(where, json=CHANGES[path] | {"stripes": "brown"}, headers={"if-match": "*"}),
    ):
        assert answer.status_code == 422
        assert [e["pointer"] for e in answer.json()["errors"]] == ["#/stripes"]
    answer = logged.get(f"/v1/{path}", params={"stripes": "brown"})
    assert [e["parameter"] for e in answer.json()["errors"]] == ["stripes"]


def test_pages_put_together_are_the_whole_list_in_order(logged, created, path):
    whole = logged.get(f"/v1/{path}", params={"limit": 200}).json()
    assert whole["next"] is None
    walked, after = [], None
    while True:
        params = {"limit": 1} | ({"after": after} if after else {})
        page = logged.get(f"/v1/{path}", params=params).json()
        walked += page["items"]
        after = page["next"]
        if after is None:
            break
    assert walked == whole["items"]
    assert created.json() in walked


def test_an_id_may_be_left_to_the_service(logged):
    answer = logged.post("/v1/wearers", json={})
    assert answer.status_code == 201
    assert logged.get(answer.headers["location"]).json() == answer.json()


def test_lists_are_narrowed_by_wearer_pair_word_and_day(logged):
    ask = lambda path, **params: logged.get(f"/v1/{path}", params=params).json()["items"]  # noqa: E731
    assert {p["pair_id"] for p in ask("pairs", wearer_id="ada")} == {"oxford", "derby"}
    assert {s["pair_id"] for s in ask("soles", wearer_id="ben")} == {"boot"}
    assert len(ask("checks", pair_id="oxford", foot="left")) == 2
    days = [d["worn_on"] for d in ask("wear-days", since="2026-02-02", until="2026-02-16")]
    assert days == ["2026-02-02", "2026-02-09", "2026-02-16"]


@pytest.mark.parametrize("limit", [0, 201, 10**6, "all"])
def test_page_sizes_are_bounded(logged, limit):
    assert logged.get("/v1/pairs", params={"limit": limit}).status_code == 422


@pytest.mark.parametrize("after", ["x", "!!", "W10", "WyJhIiwgImIiXQ", "bnVsbA", "Wzdd", "é"])
def test_a_cursor_that_no_list_gave_is_refused(logged, after):
    answer = logged.get("/v1/pairs", params={"after": after})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == "after"


def test_what_belongs_to_a_pair_goes_along_only_when_asked(logged):
    refused = logged.delete("/v1/pairs/oxford", headers={"if-match": "*"})
    assert refused.status_code == 409
    assert "20 in wear_days" in refused.json()["detail"]
    assert len(logged.get("/v1/wear-days", params={"pair_id": "oxford"}).json()["items"]) == 20
    gone = logged.delete("/v1/pairs/oxford?with_all_below=true", headers={"if-match": "*"})
    assert gone.status_code == 204
    assert logged.get("/v1/wear-days", params={"pair_id": "oxford"}).json()["items"] == []


def test_an_id_brought_by_a_file_is_reached_when_it_is_quoted(logged, logged_services):
    from solespan.api.services.rack.records import create

    services = logged_services
    with services.database.writing() as session:
        values = {"wearer_id": "Zoë & co?", "time_zone": "UTC"}
        values |= dict.fromkeys(("name", "driving_foot", "email"))
        create(session, "wearers", values, services.clock)
    answer = logged.get("/v1/wearers/Zo%C3%AB%20%26%20co%3F")
    assert answer.json()["wearer_id"] == "Zoë & co?"


def test_a_new_sole_ends_the_one_before_it(logged, bodies):
    logged.post("/v1/soles", json=bodies["soles"])
    first = logged.get("/v1/soles/derby-1")
    assert first.json()["removed_on"] == bodies["soles"]["fitted_on"]
    assert first.headers["etag"] == '"2"'
