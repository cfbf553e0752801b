"""Do the checks and headers at the edge hold for every route, refusals and failures included?"""

from __future__ import annotations

import asyncio
import socket
import threading
from contextlib import suppress

import pytest
import uvicorn

from solespan.api.app import MAX_BODY_BYTES
from solespan.api.cli.serve import server_config
from solespan.api.routes.edge.gate import MOST_HEAD_BYTES, MOST_HEADERS
from solespan.api.routes.edge.headers import CONTENT_SECURITY_POLICY
from solespan.api.settings import Settings

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
        "object-src 'none'; frame-src 'self'; frame-ancestors 'none'"
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


@pytest.mark.parametrize(
    "headers",
    [
        {f"x-{number}": "1" for number in range(MOST_HEADERS)},
        {"x-large": "x" * MOST_HEAD_BYTES},
        {"cookie": "; ".join(f"c{number}=1" for number in range(9000))},
    ],
)
def test_a_head_over_the_limit_is_refused(client, headers):
    answer = client.get("/v1/health/live", headers=headers)
    assert (answer.status_code, answer.json()["type"]) == (431, "/problems/head-too-large")
    assert client.get("/v1/health/live", params={"q": "x" * MOST_HEAD_BYTES}).status_code == 431


@pytest.mark.parametrize("path", ["/v1/wearers", "/v1/imports", "/wear", "/import"])
@pytest.mark.parametrize("piece", [b"", b"--x\r\n"])
def test_a_body_that_stops_coming_is_refused_in_time(client, app, monkeypatch, path, piece):
    """The sender holds the connection and sends no more; without a limit this never ends."""
    monkeypatch.setattr("solespan.api.routes.edge.gate.BODY_S", 0.05)
    waiting = [{"type": "http.request", "body": piece, "more_body": True}]
    sent = []

    async def receive():
        return waiting.pop() if waiting else await asyncio.Event().wait()

    async def send(message):
        sent.append(message)

    kind = b"multipart/form-data; boundary=x" if "import" in path else b"application/json"
    kind = b"application/x-www-form-urlencoded" if path == "/wear" else kind
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "headers": [(b"host", b"127.0.0.1"), (b"content-type", kind)],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 80),
    }
    asyncio.run(app(scope, receive, send))
    assert sent[0]["status"] == 408
    assert (b"connection", b"close") in sent[0]["headers"]


@pytest.fixture
def served(monkeypatch):
    """Run the service's own server on a free port, with little time for a head; give the port."""
    monkeypatch.setattr("solespan.api.cli.http_protocol.HEAD_S", 0.2)

    async def hello(scope, _receive, send):
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b"hello"})

    config = server_config(hello, Settings())
    config.lifespan = "off"
    server = uvicorn.Server(config)
    listening = socket.create_server(("127.0.0.1", 0))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    yield listening.getsockname()[1]
    server.should_exit = True
    thread.join()
    listening.close()


def answer_to(port: int, *pieces: bytes) -> bytes:
    """Send pieces and then nothing more; return all that comes until the server ends."""
    with socket.create_connection(("127.0.0.1", port), timeout=120) as connection:
        told = b""
        for piece in pieces:
            connection.sendall(piece)
            while piece == HELLO and not told.endswith(b"hello\r\n0\r\n\r\n"):
                told += connection.recv(65_536)
        with suppress(ConnectionError):
            while part := connection.recv(65_536):
                told += part
    return told


HELLO = b"GET / HTTP/1.1\r\nHost: here\r\n\r\n"


@pytest.mark.parametrize(
    ("pieces", "status"),
    [
        ([], b"408 "),
        ([b"GET / HTTP/1.1\r\nHost:"], b"408 "),
        ([HELLO, b"GET / HT"], b"408 "),
        ([b"GET / HTTP/1.1\r\nX: ", b"x" * 9 * MOST_HEAD_BYTES], b"431 "),
        ([b"GET /", b"x" * 9 * MOST_HEAD_BYTES], b"431 "),
        ([b"\x16\x03\x01"], b"400 "),
    ],
)
def test_a_head_that_is_never_whole_ends_its_connection(served, pieces, status):
    told = answer_to(served, *pieces)
    assert told.rpartition(b"HTTP/1.1 ")[2].startswith(status)
    assert told.count(b"hello") == pieces.count(HELLO)


def test_a_connection_that_is_kept_alive_is_answered_again(served):
    told = answer_to(served, HELLO, HELLO, HELLO[:-2] + b"Connection: close\r\n\r\n")
    assert told.count(b"hello") == 3
    assert b"408" not in told
