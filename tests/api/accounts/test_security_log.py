"""Who came in, was refused, or changed who may do what: one line each, by ids, without a secret."""

from __future__ import annotations

import json
import logging

import pytest

from solespan.api.errors import Conflict
from solespan.api.services.accounts import people
from tests.api.accounts.conftest import OWNER, PASSWORD, STAFF, bearer, form_token
from tests.api.accounts.test_invitations import accept, invite
from tests.api.service.test_logs import lines_of, logging_as_the_service_does

SENTENCE = "a sentence of my own"


def security_lines(capsys) -> list[dict]:
    """Security events since the last look, and nothing of anybody in any line."""
    lines = lines_of(capsys)
    whole = json.dumps(lines)
    for private in ("example.org", PASSWORD, SENTENCE, "guess", "carl", "solespan_"):
        assert private not in whole, private
    return [line for line in lines if "sender" in line and line["event"] != "request"]


def test_16_3_1_signing_in_being_refused_and_being_locked_are_lines(client, enter, capsys):
    with logging_as_the_service_does():
        logging.getLogger("httpx2").setLevel(logging.WARNING)
        for _ in range(6):
            enter(client, OWNER, "guess")
        enter(client, "nobody@example.org", "guess")
        enter(client, STAFF)
        client.post("/sign-out", data={"form_token": form_token(client, "/account")})
    lines = security_lines(capsys)
    said = [line["event"] for line in lines]
    locked = [*(["sign_in_refused"] * 5), "sign_in_locked"]
    assert said == [*locked, "sign_in_refused", "sign_in", "session_ended"]
    assert lines[6]["account"] == "unknown"
    assert lines[0]["account"] == lines[5]["account"] != lines[7]["account"]
    assert {line["sender"] for line in lines[:8]} == {"somebody"}
    assert lines[8]["sender"] == f"member {lines[7]['account']}"
    for line in lines:
        assert line["address"] == "testclient"
        assert len(line["request_id"]) == 32
        assert line["timestamp"].endswith("Z")


def test_16_3_2_what_a_sender_may_not_is_a_line(client, token_of, capsys):
    key = bearer(token_of(STAFF, "read"))
    with logging_as_the_service_does():
        client.delete("/v1/customers/carl/record", headers=key)
    (line,) = security_lines(capsys)
    assert (line["event"], line["why"], line["need"]) == ("access_refused", "not-allowed", "manage")
    assert line["sender"].startswith("token ")


def test_16_3_3_changes_of_who_may_do_what_are_lines(client, enter, capsys):
    with logging_as_the_service_does():
        enter(client, OWNER)
        key = client.put("/v1/tokens/till", json={"scopes": ["read"]}).json()
        client.delete(f"/v1/tokens/{key['token_id']}")
        client.put("/v1/customers/carl/link")
        client.delete("/v1/customers/carl/link")
        promoted, new = invite(client, STAFF, "owner"), invite(client, "new@example.org")
        for path in (promoted, new):
            accept(client, path, SENTENCE)
        (fresh,) = (m for m in client.get("/v1/members").json() if m["email"].startswith("new"))
        client.delete(f"/v1/members/{fresh['user_id']}")
        client.delete("/v1/sessions")
        typed = {"form_token": form_token(client, "/account"), "old": PASSWORD, "new": SENTENCE}
        client.post("/account/password", data=typed | {"end_tokens": "true"})
        client.get("/v1/customers/carl/record")
        client.get("/export/zip")
        client.delete("/v1/customers/carl/record")
    lines = security_lines(capsys)
    said = [line["event"] for line in lines]
    assert said == [
        *("sign_in", "token_made", "token_revoked", "link_made", "link_ended"),
        *("password_changed", "role_changed", "member_added", "member_removed"),
        *("sessions_ended", "password_changed", "sessions_ended"),
        *("export", "export", "erasure"),
    ]
    by_event = {line["event"]: line for line in lines}
    assert by_event["token_made"]["token_id"] == key["token_id"]
    changed = by_event["role_changed"]
    assert (changed["before"], changed["role"]) == ("staff", "owner")


def test_what_was_not_committed_is_no_line(services, capsys):
    now = services.clock.now()

    def remove_both() -> None:
        with services.database.writing() as session:
            for member in (STAFF, OWNER):
                people.remove_member(session, tenant_pk=1, member=member, now=now)

    with logging_as_the_service_does(), pytest.raises(Conflict):
        remove_both()
    assert security_lines(capsys) == []
