"""A person sees where they are signed in, and ends one session or all others."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from solespan.api.cli import main as command_line
from solespan.api.services.accounts.sessions import device_in_words
from tests.api.accounts.conftest import OUTSIDER, OWNER, PASSWORD, STAFF, bearer, form_token

PHONE = "Mozilla/5.0 (Android 16; Mobile; rv:150.0) Gecko/150.0 Firefox/150.0"
DESK = (
    "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) "
    "Chrome/150.0.0.0 Safari/537.36 Edg/150.0.0.0"
)


@pytest.fixture
def twice(client, enter, clock):
    """Sign Ada in with a phone and an hour later at the desk; return the phone's cookie."""
    client.headers["user-agent"] = PHONE
    enter(client, OWNER)
    phone = client.cookies["solespan_session"]
    clock.move(hours=1)
    client.headers["user-agent"] = DESK
    enter(client, OWNER)
    yield phone
    client.headers.pop("user-agent")


def still_in(client, cookie: str) -> bool:
    kept = dict(client.cookies)
    client.cookies.clear()
    client.cookies.set("solespan_session", cookie)
    status = client.get("/v1/pairs").status_code
    client.cookies.clear()
    for name, value in kept.items():
        client.cookies.set(name, value)
    return status == 200


def test_7_5_2_the_own_sessions_are_listed_and_one_is_ended(client, twice):
    here, phone = client.get("/v1/sessions").json()
    assert (here["device"], here["here"]) == ("Edge on Windows", True)
    assert (phone["device"], phone["here"]) == ("Firefox on Android", False)
    assert set(here) == {"session_id", "device", "tenant_id", "begun_at", "used_at", "here"}
    assert client.delete(f"/v1/sessions/{phone['session_id']}").status_code == 204
    assert client.delete(f"/v1/sessions/{phone['session_id']}").status_code == 404
    assert not still_in(client, twice)
    assert len(client.get("/v1/sessions").json()) == 1


@pytest.mark.parametrize("way", ["page", "program"])
def test_7_5_2_all_other_sessions_end_and_this_one_stays(client, twice, way):
    if way == "page":
        page = client.get("/account")
        assert "Firefox on Android" in page.text
        assert page.text.count('name="end"') == 2, "the phone, and all others"
        typed = {"form_token": form_token(client, "/account"), "end": "others"}
        answer = client.post("/account/sessions", data=typed)
        assert "Every other browser is signed out" in answer.text
    else:
        assert client.delete("/v1/sessions").status_code == 204
    assert client.get("/v1/pairs").status_code == 200
    assert not still_in(client, twice)


def test_nobody_ends_the_session_of_another_person(client, enter, twice):
    phone = client.get("/v1/sessions").json()[1]["session_id"]
    enter(client, OUTSIDER)
    assert client.delete(f"/v1/sessions/{phone}").status_code == 404
    typed = {"form_token": form_token(client, "/account"), "end": phone}
    assert client.post("/account/sessions", data=typed).status_code == 404
    assert still_in(client, twice)


def test_a_program_has_no_sessions(client, token_of):
    headers = bearer(token_of(OWNER, "read", "manage"))
    assert client.get("/v1/sessions", headers=headers).status_code == 422
    assert client.delete("/v1/sessions", headers=headers).status_code == 422


def test_a_session_that_is_over_is_not_listed(client, enter, clock):
    enter(client, OWNER)
    clock.move(hours=73)
    client.cookies.clear()
    enter(client, OWNER)
    assert len(client.get("/v1/sessions").json()) == 1


@pytest.mark.parametrize("way", ["page", "program"])
def test_7_4_5_an_owner_signs_a_member_out_everywhere(client, enter, way):
    enter(client, STAFF)
    staff = client.cookies["solespan_session"]
    enter(client, OWNER)
    if way == "page":
        typed = {"form_token": form_token(client, "/people"), "email": STAFF}
        assert client.post("/people/sign-out", data=typed).status_code == 200
    else:
        (ben,) = (m for m in client.get("/v1/members").json() if m["email"] == STAFF)
        assert client.delete(f"/v1/members/{ben['user_id']}/sessions").status_code == 204
    assert client.get("/v1/pairs").status_code == 200
    assert not still_in(client, staff)
    assert client.delete("/v1/members/nobody/sessions").status_code == 404


def test_7_4_5_the_operator_lists_and_ends_sessions(client, twice, services, monkeypatch):
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", services.settings.database_url)
    monkeypatch.setattr("solespan.api.wiring.Clock", lambda: services.clock)

    def run(*words: str):
        return CliRunner().invoke(command_line.build_app(), ["accounts", *words])

    phone = client.get("/v1/sessions").json()[1]["session_id"]
    assert "Firefox on Android" in run("sessions", OWNER, "--format", "csv").stdout
    assert "Sessions ended: 1" in run("end-sessions", OWNER, "--only", phone).stdout
    assert not still_in(client, twice)
    assert run("end-sessions").exit_code != 0
    assert "Sessions ended: 1" in run("end-sessions", "--everyone").stdout
    assert client.get("/v1/pairs").status_code == 401


@pytest.mark.parametrize("asked", [True, False])
def test_7_4_3_keys_of_programs_end_with_a_password_change_if_asked(client, enter, token_of, asked):
    key = bearer(token_of(OWNER, "read"))
    enter(client, OWNER)
    typed = {"form_token": form_token(client, "/account"), "old": PASSWORD}
    typed |= {"new": "another sentence of mine"} | ({"end_tokens": "true"} if asked else {})
    assert client.post("/account/password", data=typed, follow_redirects=False).status_code == 303
    client.cookies.clear()
    assert client.get("/v1/pairs", headers=key).status_code == (401 if asked else 200)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (PHONE, "Firefox on Android"),
        (DESK, "Edge on Windows"),
        ("curl/8.9", "an unknown browser"),
        ("", "an unknown browser"),
        ("Mozilla/5.0 (iPad; CPU OS 19_0 like Mac OS X) Version/19 Safari/605", "Safari on iPad"),
    ],
)
def test_a_browser_is_named_as_far_as_it_tells(told, words):
    assert device_in_words(told) == words
