"""Does the log say what happened, as JSON lines, and nothing about anyone?"""

from __future__ import annotations

import json
import logging
from contextlib import contextmanager

import structlog

from solespan.api.logs import configure_logs


@contextmanager
def logging_as_the_service_does():
    """Within the test's body only: pytest has handlers of its own around it."""
    root = logging.getLogger()
    before, level = root.handlers[:], root.level
    configure_logs("info")
    yield
    structlog.reset_defaults()
    root.handlers[:] = before
    root.setLevel(level)


def lines_of(capsys):
    return [json.loads(line) for line in capsys.readouterr().err.splitlines()]


def test_a_request_is_one_line_with_its_id_and_no_personal_data(client, capsys):
    body = {"wearer_id": "very-private", "name": "Private\nName", "email": "private@example.org"}
    with logging_as_the_service_does():
        logging.getLogger("httpx2").setLevel(logging.WARNING)  # the test's own client
        made = client.post("/v1/wearers", json=body, headers={"idempotency-key": '"private"'})
        client.get("/v1/wearers/very-private", params={"q": "private"})
    lines = lines_of(capsys)
    requests = [line for line in lines if line["event"] == "request"]
    assert [(r["method"], r["status"]) for r in requests] == [("POST", 201), ("GET", 200)]
    assert requests[0]["request_id"] == made.headers["x-request-id"]
    assert requests[1]["route"].endswith("/wearers/{wearer_id}")
    assert "rivate" not in json.dumps(lines)


def test_events_of_libraries_are_json_lines_too(capsys):
    with logging_as_the_service_does():
        logging.getLogger("some.library").warning("two\nlines")
    (line,) = lines_of(capsys)
    assert (line["event"], line["level"]) == ("two\nlines", "warning")


def test_an_exception_is_named_with_its_places_but_not_its_message(capsys):
    with logging_as_the_service_does():
        try:
            int("private@example.org")
        except ValueError:
            logging.getLogger("some.library").exception("it failed")
    (line,) = lines_of(capsys)
    assert line["kind"] == "ValueError"
    assert line["places"]
    assert "private" not in json.dumps(line)
