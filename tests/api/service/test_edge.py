"""Do the checks and headers at the edge hold for every route, refusals and failures included?"""

from __future__ import annotations

import pytest

from solespan.api.app import MAX_BODY_BYTES
from solespan.api.routes.edge.headers import CONTENT_SECURITY_POLICY

UNSAFE = ("post", "put", "patch", "delete")


def every_operation(app):
    """Method and a filled-in address of each operation in the API's description."""
    for path, methods in app.openapi()["paths"].items():
        filled = path
        for name, value in {
            "worn_on": "2026-06-10",
            "checked_on": "2026-06-10",
            "foot": "left",
            "point": "ball",
            "method": "thumb",
            "name": "not-found",
        }.items():
            filled = filled.replace(f"{{{name}}}", value)
        while "{" in filled:
            filled = filled[: filled.index("{")] + "nobody" + filled[filled.index("}") + 1 :]
        for method in methods:
            yield method, filled


def assert_protected(answer):
    assert answer.headers["content-security-policy"] == CONTENT_SECURITY_POLICY
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["cross-origin-opener-policy"] == "same-origin"
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
    assert len(answer.headers["x-request-id"]) == 32


def test_the_policy_is_the_one_that_was_measured():
    assert CONTENT_SECURITY_POLICY == (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        "connect-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; "
        "worker-src 'self'; manifest-src 'self'; "
        "object-src 'none'; frame-ancestors 'none'"
    )


def test_every_answer_carries_the_security_headers(client, app):
    operations = list(every_operation(app))
    assert len(operations) > 35
    for method, path in operations:
        assert_protected(client.request(method, path))
    for method, path in (("GET", "/nowhere"), ("PATCH", "/v1/pairs"), ("GET", "/v1/openapi.json")):
        assert_protected(client.request(method, path))


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "https://elsewhere.example"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "null"},
    ],
)
def test_no_route_takes_a_change_from_another_site(client, app, headers):
    unsafe = [(m, p) for m, p in every_operation(app) if m in UNSAFE]
    assert len(unsafe) >= 20
    for method, path in [*unsafe, ("post", "/anything")]:
        answer = client.request(method, path, headers=headers)
        assert (answer.status_code, answer.json()["type"]) == (403, "/problems/cross-site")
        assert_protected(answer)


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"sec-fetch-site": "same-origin", "origin": "http://127.0.0.1:8000"},
        {"sec-fetch-site": "none"},
        {"origin": "http://127.0.0.1:8000"},
    ],
)
def test_changes_from_its_own_pages_and_from_programs_are_taken(client, headers):
    assert client.post("/v1/wearers", json={}, headers=headers).status_code == 201


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "", "[", "0.0.0.0"])
def test_a_foreign_host_name_is_refused(client, host):
    answer = client.get("/v1/pairs", headers={"host": host})
    assert (answer.status_code, answer.json()["type"]) == (400, "/problems/unknown-host")


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "localhost", "LOCALHOST:80", "[::1]:8000"])
def test_loopback_names_are_served(client, host):
    assert client.get("/v1/health/live", headers={"host": host}).status_code == 200


def test_a_body_that_says_it_is_too_large_is_refused_unread(client):
    answer = client.post("/v1/wearers", content=b"x" * (MAX_BODY_BYTES + 1))
    assert (answer.status_code, answer.json()["type"]) == (413, "/problems/too-large")


def test_a_body_that_grows_too_large_without_saying_so_is_refused(client):
    def pieces():
        for _ in range(MAX_BODY_BYTES // 1024 + 2):
            yield b" " * 1024

    answer = client.post(
        "/v1/wearers", content=pieces(), headers={"content-type": "application/json"}
    )
    assert (answer.status_code, answer.json()["type"]) == (413, "/problems/too-large")


def test_a_record_must_be_called_json(client):
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        answer = client.post("/v1/wearers", content=b"{}", headers={"content-type": kind})
        assert answer.status_code == 415
