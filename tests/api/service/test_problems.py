"""Is every failure a problem document (RFC 9457), whoever notices it and on whichever route?"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from sqlalchemy.exc import OperationalError

from solespan.api import errors
from solespan.api.problems import PROBLEMS
from solespan.api.routes.http.problem_document import MEDIA_TYPE

PAGE = {"accept": "text/html,application/xhtml+xml,*/*;q=0.8"}
AS_JSON = {"content-type": "application/json"}
FAILURES = {
    "bad-request": (
        "POST",
        "/v1/wearers",
        {"content": b"{", "headers": {"content-type": "application/json"}},
    ),
    "malformed-key": ("POST", "/v1/wearers", {"json": {}, "headers": {"idempotency-key": '"open'}}),
    "unknown-host": ("GET", "/v1/wearers", {"headers": {"host": "evil.example"}}),
    "cross-site": (
        "POST",
        "/v1/wearers",
        {"json": {}, "headers": {"sec-fetch-site": "cross-site"}},
    ),
    "not-found": ("GET", "/v1/wearers/nobody", {}),
    "method-not-allowed": ("PATCH", "/v1/wearers", {}),
    "conflict": ("DELETE", "/v1/wearers/ada", {"headers": {"if-match": "*"}}),
    "nothing-forecast": ("GET", "/v1/forecasts/bare/path", {}),
    "stale-version": ("DELETE", "/v1/wearers/ada", {"headers": {"if-match": '"99"'}}),
    "too-large": ("POST", "/v1/wearers", {"content": b"x" * 10**6}),
    "unsupported-media-type": ("POST", "/v1/wearers", {"content": b"x"}),
    "invalid-input": ("POST", "/v1/wearers", {"json": {"shoe_size": 42}}),
    "bad-upload": ("POST", "/v1/imports", {"files": {"files": ("notes.txt", b"x")}}),
    "version-required": ("DELETE", "/v1/wearers/ada", {}),
}
ELSEWHERE = {
    "request-running": "test_idempotency",
    "key-reused": "test_idempotency",
    "not-signed-in": "accounts/test_access",
    "not-allowed": "accounts/test_access",
    "second-factor-needed": "accounts/test_second_factor",
    "too-fast": "accounts/test_access",
    "busy-with-others": "operation/test_turns",
    "sign-in-refused": "accounts/test_sign_in",
    "too-many-tries": "accounts/test_sign_in",
    "import-questions": "test_imports",
    "import-refused": "test_imports",
    "link-over": "notices/test_answers",
    "internal-error": "below",
    "too-slow": "test_edge",
    "head-too-large": "test_edge",
    "busy": "below",
    "unavailable": "below",
}


def assert_problem(answer, name):
    kind = PROBLEMS[name]
    assert answer.headers["content-type"] == MEDIA_TYPE
    body = answer.json()
    assert (answer.status_code, body["status"]) == (kind.status, kind.status), body
    assert (body["type"], body["title"]) == (f"/problems/{name}", kind.title)
    assert body["detail"]
    assert body["remedy"]
    assert body["request_id"] == answer.headers["x-request-id"]
    assert "Traceback" not in answer.text
    assert '.py"' not in answer.text


def test_every_kind_is_provoked_by_some_test():
    assert FAILURES.keys() | ELSEWHERE.keys() == PROBLEMS.keys()


@pytest.mark.parametrize("name", FAILURES)
def test_each_kind_of_failure_is_its_problem_document(logged, name):
    logged.post("/v1/pairs", json={"pair_id": "bare", "wearer_id": "ada", "construction": "blake"})
    method, path, request = FAILURES[name]
    answer = logged.request(method, path, **request)
    assert_problem(answer, name)
    assert answer.json()["instance"] == path


@pytest.mark.slow
def test_every_route_answers_its_errors_as_problem_documents(client, app):
    """Each operation with rubbish in its path, query, headers and body."""
    for path, methods in app.openapi()["paths"].items():
        rubbish = path
        while "{" in rubbish:
            rubbish = rubbish[: rubbish.index("{")] + "%00" + rubbish[rubbish.index("}") + 1 :]
        for method in methods:
            answer = client.request(
                method,
                rubbish,
                params={"limit": "many", "surprise": "1"},
                content=b"\xff\xfe",
                headers={"content-type": "application/json", "if-match": "x"},
            )
            if answer.status_code < 400:
                continue
            assert answer.headers["content-type"] == MEDIA_TYPE, (method, path)
            assert answer.status_code < 500, (method, path, answer.text)
            assert answer.json()["type"].removeprefix("/problems/") in PROBLEMS


def test_a_fault_of_the_program_is_told_without_its_inside(client, services, monkeypatch, capsys):
    def break_down(*_args):
        raise RuntimeError("secret-of-the-inside")

    monkeypatch.setattr(
        "solespan.api.routes.rack.records.list_records", lambda *_a, **_k: break_down()
    )
    answer = client.get("/v1/pairs")
    assert_problem(answer, "internal-error")
    assert "secret" not in answer.text
    out = capsys.readouterr()
    assert "secret" not in out.out + out.err
    assert "RuntimeError" in out.out + out.err


@pytest.mark.parametrize(
    ("reason", "name"), [("database is locked", "busy"), ("disk I/O error", "unavailable")]
)
def test_a_database_that_does_not_answer_is_503(client, monkeypatch, reason, name):
    def fail(*_args, **_kwargs):
        raise OperationalError("SELECT", {}, Exception(reason))

    monkeypatch.setattr("solespan.api.routes.rack.records.list_records", fail)
    assert_problem(client.get("/v1/pairs"), name)


def test_every_type_is_explained_at_its_own_address(client):
    listed = client.get("/problems").text
    for kind in PROBLEMS.values():
        assert kind.uri in listed
        page = client.get(kind.uri)
        assert page.headers["content-type"] == "text/plain; charset=utf-8"
        assert kind.meaning in page.text
        assert kind.remedy in page.text
    assert_problem(client.get("/problems/unheard-of"), "not-found")


def _errors(kind: type[errors.SolespanError]) -> Iterator[type[errors.SolespanError]]:
    yield kind
    for below in kind.__subclasses__():
        yield from _errors(below)


def test_every_error_of_the_program_stands_in_the_register(app):
    own = {error.code for error in _errors(errors.SolespanError)}
    assert own <= PROBLEMS.keys()
    assert {"not-found", "conflict", "stale-version", "link-over", "import-refused"} <= own


def test_allow_names_every_method_of_the_address(client):
    answer = client.post("/v1/wear-days/oxford/2026-06-10")
    assert answer.headers["allow"] == "GET, HEAD, PUT, PATCH, DELETE, OPTIONS"
    assert client.put("/v1/wear-days").headers["allow"] == "GET, HEAD, POST, OPTIONS"


def test_what_was_sent_is_not_repeated_in_the_answer(client):
    answer = client.post("/v1/wearers", json={"email": "someone-private"})
    assert answer.status_code == 422
    assert "someone-private" not in answer.text


@pytest.mark.parametrize("address", ["/nowhere", "/example"])
def test_an_unknown_address_is_a_page_for_a_browser_and_a_document_for_a_program(logged, address):
    page = logged.get(address, headers=PAGE)
    assert page.status_code in (404, 405)
    assert page.headers["content-type"].startswith("text/html")
    assert 'href="/"' in page.text
    assert logged.get(address).headers["content-type"] == MEDIA_TYPE
    assert logged.get(f"/v1{address}", headers=PAGE).headers["content-type"] == MEDIA_TYPE
