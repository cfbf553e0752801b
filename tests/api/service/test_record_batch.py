"""Are records of every kind put and removed in one request, all of them or none of them?"""

from __future__ import annotations

import pytest

from solespan.forecast.frames import TABLES

PATHS = ["wearers", "pairs", "soles", "wear-days", "checks", "bench-jobs"]
COUNTS = {"created": 0, "replaced": 0, "deleted": 0, "unchanged": 0}
FREE = {
    "wearers": {"name": "Cleo"},
    "pairs": {"size_eu": 43},
    "soles": {"nominal_thickness_mm": 4.5},
    "wear-days": {"wet": True},
    "checks": {"grade": "soft"},
    "bench-jobs": {"promised_on": "2026-06-20"},
}


def send(client, path, put=(), remove=(), **headers):
    body = {"put": [*put], "remove": [*remove]}
    return client.post(f"/v1/{path}/batch", json=body, headers=headers)


def listed(client, path):
    return client.get(f"/v1/{path}", params={"limit": 200}).json()["items"]


def key_of(path, row):
    return {name: row[name] for name in TABLES[path.replace("-", "_")].key}


@pytest.mark.parametrize("path", PATHS)
def test_a_batch_creates_replaces_leaves_and_removes(fitted, bodies, path):
    before = listed(fitted, path)
    row = bodies[path]
    for outcome in ("created", "unchanged"):
        answer = send(fitted, path, [row])
        assert answer.json() == COUNTS | {outcome: 1}, answer.text
    changed = row | FREE[path] | {"version": 1}
    assert send(fitted, path, [changed]).json() == COUNTS | {"replaced": 1}
    (now,) = [r for r in listed(fitted, path) if key_of(path, r) == key_of(path, row)]
    assert now["version"] == 2
    assert now.items() >= FREE[path].items()
    gone = key_of(path, row)
    assert send(fitted, path, remove=[gone | {"version": 1}]).status_code == 412
    assert send(fitted, path, remove=[gone | {"version": 2}]).json() == COUNTS | {"deleted": 1}
    assert send(fitted, path, remove=[gone]).json() == COUNTS | {"unchanged": 1}
    assert [key_of(path, r) for r in listed(fitted, path)] == [key_of(path, r) for r in before]


@pytest.mark.parametrize("path", [path for path in PATHS if path != "wearers"])
def test_one_record_that_cannot_be_keeps_all_from_being_written(logged, bodies, path):
    before = listed(logged, path)
    good, table = bodies[path], TABLES[path.replace("-", "_")]
    owner = "wearer_id" if path == "pairs" else "pair_id"
    wrong = good | {owner: "nobody"} | {n: "other" for n in table.key if n.endswith("_id")}
    wrong |= {owner: "nobody"}
    answer = send(logged, path, [good, wrong])
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == f"#/put/1/{owner}"
    twice = send(logged, path, [good, good])
    assert (twice.status_code, listed(logged, path)) == (422, before)


def test_a_record_does_not_change_its_owner_by_a_batch(logged):
    (pair,) = [r for r in listed(logged, "pairs") if r["pair_id"] == "boot"]
    answer = send(logged, "pairs", [pair | {"wearer_id": "ada"}])
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "#/put/0/wearer_id")
    assert listed(logged, "pairs")[0]["wearer_id"] == "ben"


def test_a_batch_with_a_key_is_done_once_and_makes_ids_once(logged):
    people = [{"name": name} for name in ("Cleo", "Dora", "Eve")]
    key = {"idempotency-key": '"three"'}
    first, again = (send(logged, "wearers", people, **key) for _ in range(2))
    assert first.json() == COUNTS | {"created": 3} == again.json()
    assert again.headers["idempotency-replayed"] == "true"
    assert len(listed(logged, "wearers")) == 5
    assert send(logged, "wearers", [{}] * 501).status_code == 422


def test_a_wearer_with_pairs_stays(logged):
    answer = send(logged, "wearers", remove=[{"wearer_id": "ada"}])
    assert (answer.status_code, answer.json()["where"]) == (409, "remove/0")
