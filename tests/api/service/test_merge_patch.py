"""Does a JSON merge patch (RFC 7396) change what it names, under the checks of PUT, and no more?"""

from __future__ import annotations

import pytest

from solespan.api.schemas.merge_patch import merge
from solespan.forecast.frames import TABLES

AS_PATCH = {"content-type": "application/merge-patch+json", "if-match": "*"}
SETTINGS = {
    "/v1/bench-settings": ("settings", {"benches": 3}, {"benches": -1}),
    "/v1/notices/rules": ("rules", {"shop_name": "At the Last"}, {"link_days": 1}),
    "/v1/notices/template": ("template", {"subject": "New soles"}, {"subject": "{{ nothing() }}"}),
    "/v1/life-settings": ("resoles_stood", {"blake": 9}, {"blake": -1}),
}


@pytest.mark.parametrize(  # appendix A of RFC 7396, without the rows that are no objects
    ("target", "patch", "result"),
    [
        ({"a": "b"}, {"a": "c"}, {"a": "c"}),
        ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
        ({"a": "b"}, {"a": None}, {}),
        ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
        ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
        ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
        ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
        ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
        ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
        ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
    ],
)
def test_the_examples_of_the_standard(target, patch, result):
    assert merge(target, patch) == result


def patch(client, path, body, **headers):
    return client.patch(path, json=body, headers=AS_PATCH | headers)


def test_both_media_types_are_taken_and_no_other(logged):
    for kind in ("application/merge-patch+json", "application/json"):
        headers = AS_PATCH | {"content-type": kind}
        answer = logged.patch("/v1/wearers/ada", json={"name": kind}, headers=headers)
        assert (answer.status_code, answer.json()["name"]) == (200, kind)
    refused = patch(logged, "/v1/wearers/ada", {}, **{"content-type": "text/plain"})
    assert refused.status_code == 415
    assert refused.headers["accept-patch"] == "application/merge-patch+json"


@pytest.mark.parametrize("path", ["wearers", "pairs", "soles", "wear-days", "checks", "bench-jobs"])
def test_null_takes_away_what_put_takes_away_when_it_leaves_it_out(logged, bodies, path):
    made = logged.post(f"/v1/{path}", json=bodies[path])
    address, before = made.headers["location"], made.json()
    table = TABLES[path.replace("-", "_")]
    free = [c.name for c in table.stored if not c.required and c.name not in table.key]
    free = [name for name in free if table.by_name[name].kind != "id"]
    nulled = patch(logged, address, dict.fromkeys(free))
    kept = {c.name for c in table.stored if c.kind != "id" and c.name not in table.key} - {*free}
    replaced = logged.put(
        address, json={name: before[name] for name in kept}, headers={"if-match": "*"}
    )
    if path == "checks":  # thickness or grade must be there
        assert (nulled.status_code, replaced.status_code) == (422, 422)
        assert nulled.json()["errors"] == replaced.json()["errors"]
    else:
        assert (nulled.status_code, replaced.status_code) == (200, 200), nulled.text
        assert nulled.json() == replaced.json()
    for name in kept:
        assert patch(logged, address, {name: None}).status_code == 422


def test_a_patch_of_settings_changes_one_and_keeps_the_rest(logged):
    for path, (name, change, _) in SETTINGS.items():
        before = logged.get(path).json()
        body = {"resoles_stood": change} if path == "/v1/life-settings" else change
        answer = patch(logged, path, body, **{"if-match": f'"{before["version"]}"'})
        assert answer.status_code == 200, answer.text
        after = logged.get(path)
        assert after.json() == answer.json()
        assert after.headers["etag"] == answer.headers["etag"]
        assert after.json()[name] == before[name] | change
        assert after.json()["version"] == before["version"] + 1
        assert patch(logged, path, body, **{"if-match": '"0"'}).status_code == 412


def test_null_gives_a_setting_its_default_again(logged):
    default = logged.get("/v1/bench-settings").json()["settings"]
    patch(logged, "/v1/bench-settings", {"benches": 3, "price_minor": {"heel": 77}})
    answer = patch(logged, "/v1/bench-settings", {"benches": None, "price_minor": None})
    assert answer.json()["settings"] == default
    stood = {"resoles_stood": {"blake": 9}}
    patch(logged, "/v1/life-settings", stood)
    answer = patch(logged, "/v1/life-settings", {"resoles_stood": {"blake": None}})
    assert answer.json()["edited"] == []


def test_a_patch_that_cannot_be_changes_nothing(logged):
    for path, (_, _, wrong) in SETTINGS.items():
        before = logged.get(path).json()
        body = {"resoles_stood": wrong} if path == "/v1/life-settings" else wrong
        for refused in (body, {"surprise": 1}):
            answer = patch(logged, path, refused)
            assert answer.status_code == 422, answer.text
        assert logged.get(path).json() == before
    assert logged.patch("/v1/bench-settings", json={}).status_code == 428
