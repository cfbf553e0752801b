"""People come in with their password, stay as long as they may, and cannot be guessed in.

The names begin with the requirement of the OWASP Application Security Verification Standard 5.0.
"""

from __future__ import annotations

import re
from http.cookies import SimpleCookie
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.cli.serve import server_config
from solespan.api.errors import BadSetting
from solespan.api.services.accounts import people, secrets
from solespan.api.settings import Settings, load_settings
from solespan.api.storage.accounts import accounts, credentials

OWNER, STAFF = "ada@example.org", "ben@example.org"
PASSWORD = "the last on the left is mine"


def token_in(page) -> str:
    return re.search(r'name="form_token" value="([^"]+)"', page.text)[1]


def cookies_of(answer) -> SimpleCookie:
    """The cookies of an answer, each of which has a header of its own."""
    jar: SimpleCookie = SimpleCookie()
    for header in answer.headers.get_list("set-cookie"):
        jar.load(header)
    return jar


def test_6_3_8_an_unknown_address_and_a_wrong_password_look_alike(client, enter):
    unknown, wrong = enter(client, "nobody@example.org"), enter(client, OWNER, "not my password")
    assert unknown.status_code == wrong.status_code == 401
    said = [re.sub(r'value="[^"]*"', "", answer.text) for answer in (unknown, wrong)]
    assert said[0] == said[1]


def test_6_3_1_guessing_is_slowed_for_the_guesser_and_not_for_the_owner(
    client, enter, clock, monkeypatch
):
    for _ in range(5):
        assert enter(client, OWNER, "guess").status_code == 401
    slowed = enter(client, OWNER, "guess")
    assert slowed.status_code == 429
    assert int(slowed.headers["retry-after"]) >= 1
    assert enter(client, OWNER).status_code == 429, "the right password must wait as well"
    # The owner comes from another network address and is let in at once.
    monkeypatch.setattr("starlette.requests.Request.client", type("A", (), {"host": "10.1.1.1"}))
    assert enter(client, OWNER).status_code == 303
    monkeypatch.undo()
    clock.move(minutes=16)
    assert enter(client, OWNER).status_code == 303


def reached_from(peer: str, client: TestClient, trusted: str = "10.0.0.0/8") -> TestClient:
    """The service as `serve` runs it, reached from a network address."""
    config = server_config(client.app, Settings(trusted_proxies=trusted))
    config.load()
    return TestClient(config.loaded_app, base_url=str(client.base_url), client=(peer, 5000))


def test_6_3_1_behind_a_proxy_the_guesser_is_slowed_and_not_who_shares_the_proxy(client, enter):
    proxied = reached_from("10.0.0.1", client)
    for number in range(6):
        # What a sender writes into the header himself stands before what the proxy adds.
        proxied.headers["x-forwarded-for"] = f"192.0.2.{number}, 203.0.113.9, 10.0.0.2"
        answer = enter(proxied, OWNER, "guess")
    assert answer.status_code == 429
    proxied.headers["x-forwarded-for"] = "198.51.100.7"
    assert enter(proxied, OWNER).status_code == 303


@pytest.mark.parametrize(("peer", "trusted"), [("203.0.113.9", "10.0.0.0/8"), ("10.0.0.1", "")])
def test_6_3_1_who_is_no_trusted_proxy_is_not_believed(client, enter, peer, trusted):
    direct = reached_from(peer, client, trusted)
    for number in range(6):
        direct.headers["x-forwarded-for"] = f"192.0.2.{number}"
        answer = enter(direct, OWNER, "guess")
    assert answer.status_code == 429


def test_a_trusted_proxy_that_is_no_address_is_refused_by_name(monkeypatch):
    monkeypatch.setenv("SOLESPAN_TRUSTED_PROXIES", "10.0.0.1, *")
    with pytest.raises(BadSetting) as refused:
        load_settings()
    assert "SOLESPAN_TRUSTED_PROXIES" in refused.value.what
    assert "'*'" in refused.value.accepted


def test_a_right_password_forgets_the_wrong_ones(client, enter):
    for _ in range(2):
        for _ in range(4):
            assert enter(client, OWNER, "guess").status_code == 401
        assert enter(client, OWNER).status_code == 303


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("short", "12 to 256"),
        ("x" * 257, "12 to 256"),
        ("aaaaaaaaaaaaaa", "tried first"),
        ("1q2w3e4r5t6y", "tried first"),
        ("somebody-long@example.org", "e-mail"),
        ("Solespan-2026", "words of this program"),
        ("owner!password!1", "words of this program"),
    ],
)
def test_6_2_1_6_2_4_6_2_11_what_is_no_password(password, why):
    assert why in secrets.fault_of_password(password, email="somebody-long@example.org")


def test_6_2_5_6_2_8_6_2_9_any_characters_make_a_password_and_all_of_them_count():
    password = "Ein Schuh, zwei Füße, drei Nähte, und 🥾 " + "y" * 100
    assert secrets.fault_of_password(password) == ""
    kept = secrets.hash_password(password)
    assert kept.startswith("$argon2id$")
    assert secrets.same_password(kept, password)
    assert not secrets.same_password(kept, password[:-1])
    assert not secrets.same_password(None, password)


def test_an_old_hash_is_made_anew_at_sign_in(client, enter, services):
    from argon2 import PasswordHasher

    weak = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSWORD)
    with services.database.writing() as session:
        person = accounts.find_person(session, OWNER)
        accounts.set_password(session, person.user_pk, weak)
    assert enter(client, OWNER).status_code == 303
    with services.database.reading() as session:
        assert not secrets.outdated(accounts.find_person(session, OWNER).password_hash)


def test_7_2_and_3_3_the_session_is_a_new_random_cookie_that_no_script_reads(client, enter):
    first, second = enter(client, OWNER), enter(client, OWNER)
    cookies = []
    for answer in (first, second):
        cookie = cookies_of(answer)["solespan_session"]
        assert cookie["httponly"]
        assert cookie["samesite"] == "lax"
        assert len(cookie.value) >= 43, "256 bits"
        cookies.append(cookie.value)
    assert cookies[0] != cookies[1]


def test_3_3_over_tls_the_cookies_are_secure_and_bound_to_this_host(services, enter):
    settings = Settings(
        database_url=services.settings.database_url,
        accounts=True,
        public_address="https://shop.example",
    )
    app = create_app(settings, clock=services.clock, background=False)
    client = TestClient(app, base_url="https://shop.example")
    answer = enter(client, OWNER)
    for name in ("__Host-solespan", "__Host-solespan-device"):
        cookie = cookies_of(answer)[name]
        assert cookie["secure"]
        assert cookie["httponly"]
        assert (cookie["path"], cookie["domain"]) == ("/", "")
    assert client.get("/v1/pairs").status_code == 200
    client.cookies.clear()
    page = client.get("/sign-in")
    form: SimpleCookie = SimpleCookie(page.headers["set-cookie"])
    assert form["__Host-form_token"]["secure"]
    assert form["__Host-form_token"]["samesite"] == "strict"
    app.state.services.database.close()


@pytest.mark.parametrize(
    ("public", "peer", "forwarded", "secure"),
    [
        (None, "10.0.0.1", "https", True),
        (None, "192.0.2.1", "https", False),
        (None, "10.0.0.1", "http", False),
        ("https://127.0.0.1", "192.0.2.1", "", True),
    ],
)
def test_3_3_1_3_4_1_over_tls_every_cookie_is_secure_and_the_browser_keeps_to_it(
    services, enter, public, peer, forwarded, secure
):
    settings = Settings(
        database_url=services.settings.database_url, accounts=True, public_address=public
    )
    app = create_app(settings, clock=services.clock, background=False)
    proxied = reached_from(peer, TestClient(app, base_url="http://127.0.0.1:8000"))
    if forwarded:
        proxied.headers["x-forwarded-proto"] = forwarded
    page = proxied.get("/sign-in")
    ((name, cookie),) = cookies_of(page).items()
    proxied.cookies.set(name, cookie.value)
    typed = {"form_token": cookie.value, "email": OWNER}
    entered = proxied.post("/sign-in", data=typed | {"password": PASSWORD}, follow_redirects=False)
    gone = proxied.get("/nowhere")
    cookies = [*cookies_of(page).values(), *cookies_of(entered).values()]
    assert len(cookies) == 3
    assert [bool(cookie["secure"]) for cookie in cookies] == [secure] * 3
    for answer in (page, entered, gone):
        told = answer.headers.get("strict-transport-security")
        assert told == ("max-age=31536000; includeSubDomains" if secure else None)
    app.state.services.database.close()


def test_7_3_an_unused_session_ends_and_so_does_every_one_in_the_end(client, enter, clock):
    enter(client, OWNER)
    for _ in range(10):
        clock.move(hours=70)
        assert client.get("/v1/pairs").status_code == 200, "used before its time was over"
    clock.move(hours=73)
    assert client.get("/v1/pairs").status_code == 401
    enter(client, OWNER)
    for _ in range(30):
        clock.move(hours=25)
        client.get("/v1/pairs")
    assert client.get("/v1/pairs").status_code == 401


def test_7_4_1_after_signing_out_the_cookie_opens_nothing(client, enter):
    enter(client, OWNER)
    kept = dict(client.cookies)
    page = client.get("/account")
    answer = client.post("/sign-out", data={"form_token": token_in(page)}, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["clear-site-data"] == '"cache"'
    client.cookies.clear()
    for name, value in kept.items():
        client.cookies.set(name, value)
    assert client.get("/v1/pairs").status_code == 401


def test_7_4_3_changing_the_password_ends_every_other_session(client, enter):
    enter(client, OWNER)
    elsewhere = client.cookies["solespan_session"]
    enter(client, OWNER)
    page = client.get("/account")
    typed = {"form_token": token_in(page), "old": PASSWORD, "new": "another sentence of mine"}
    assert client.post("/account/password", data=typed, follow_redirects=False).status_code == 303
    assert client.get("/v1/pairs").status_code == 200
    client.cookies.clear()
    client.cookies.set("solespan_session", elsewhere)
    assert client.get("/v1/pairs").status_code == 401
    assert enter(client, OWNER).status_code == 401
    assert enter(client, OWNER, "another sentence of mine").status_code == 303


def test_6_3_1_the_old_password_is_guessed_no_faster_in_a_browser_left_open(client, enter, clock):
    enter(client, OWNER)
    typed = {"form_token": token_in(client.get("/account")), "new": "another sentence of mine"}

    def change(old: str) -> int:
        typed["old"] = old
        return client.post("/account/password", data=typed, follow_redirects=False).status_code

    assert [change("guess") for _ in range(6)] == [401] * 5 + [429]
    assert change(PASSWORD) == 429
    clock.move(minutes=16)
    assert change(PASSWORD) == 303


def test_only_hashes_of_keys_are_kept(client, enter, services, token_of, link_of_carl):
    enter(client, OWNER)
    told = [client.cookies["solespan_session"], token_of(OWNER, "read"), link_of_carl]
    services.database.close()
    path = services.settings.database_url.removeprefix("sqlite:///")
    files = [Path(f"{path}{end}") for end in ("", "-wal")]
    held = b"".join(file.read_bytes() for file in files if file.exists())
    for secret in told:
        assert secret.encode() not in held


def test_a_removed_member_is_out_at_once_and_the_last_owner_stays(
    client, enter, services, token_of
):
    key = token_of(STAFF, "read")
    enter(client, STAFF)
    assert client.get("/v1/pairs").status_code == 200
    with services.database.writing() as session:
        people.remove_member(session, tenant_pk=1, member=STAFF, now=services.clock.now())
    assert client.get("/v1/pairs").status_code == 401
    client.cookies.clear()
    assert client.get("/v1/pairs", headers={"authorization": f"Bearer {key}"}).status_code == 401
    enter(client, OWNER)
    (ada,) = client.get("/v1/members").json()
    answer = client.delete(f"/v1/members/{ada['user_id']}")
    assert answer.status_code == 409
    assert "last owner" in answer.json()["detail"]


def test_an_invitation_works_once_within_three_days(client, services, clock):
    def invitation() -> str:
        with services.database.writing() as session:
            return people.invite(
                session, tenant_pk=1, email=" Fay@Example.org ", role="staff", now=clock.now()
            )

    secret = invitation()
    page = client.get(f"/join/{secret}")
    assert "fay@example.org" in page.text
    assert page.headers["referrer-policy"] == "no-referrer"
    typed = {"form_token": token_in(page), "password": "short"}
    assert client.post(f"/join/{secret}", data=typed).status_code == 422
    typed["password"] = "a sentence of my own"
    joined = client.post(f"/join/{secret}", data=typed, follow_redirects=False)
    assert joined.headers["location"] == "/sign-in"
    assert client.get(f"/join/{secret}").status_code == 404
    late = invitation()
    clock.move(days=3, seconds=1)
    assert client.get(f"/join/{late}").status_code == 404


def test_a_token_is_shown_once_says_when_it_was_used_and_can_be_ended(client, enter, clock):
    enter(client, OWNER)
    made = client.put("/v1/tokens/till", json={"scopes": ["read"]}).json()
    client.cookies.clear()
    headers = {"authorization": f"Bearer {made['token']}"}
    clock.move(hours=1)
    assert client.get("/v1/pairs", headers=headers).status_code == 200
    enter(client, OWNER)
    (listed,) = client.get("/v1/tokens").json()
    assert "token" not in listed
    assert listed["used_at"] == clock.now().isoformat()
    assert client.delete(f"/v1/tokens/{made['token_id']}").status_code == 204
    client.cookies.clear()
    assert client.get("/v1/pairs", headers=headers).status_code == 401


def test_a_token_of_staff_cannot_have_what_staff_may_not(client, enter, services):
    enter(client, OWNER)
    answer = client.put("/v1/tokens/x", json={"scopes": ["read", "all"]})
    assert answer.status_code == 422
    with services.database.reading() as session:
        assert credentials.list_tokens(session, 1) == []


def test_a_customers_link_shows_their_pairs_and_logs_for_those_only(
    client, open_as_customer, link_of_carl, services
):
    page = client.get(f"/open/{link_of_carl}")
    assert "Open my pairs" in page.text
    assert client.get("/my").status_code == 401, "opening the link alone lets nobody in"
    open_as_customer(link_of_carl)
    mine = client.get("/my")
    assert "Carl of mine" in mine.text
    typed = {"form_token": token_in(mine), "pair": "somebody else's"}
    assert client.post("/my/wear", data=typed).status_code == 404
    from solespan.api.services.accounts import tokens

    with services.database.writing() as session:
        tokens.new_link(session, tenant_pk=1, wearer_id="carl", now=services.clock.now())
    assert client.get("/my").status_code == 401, "a new link ends the old one's sessions"


def test_without_accounts_nobody_signs_in_and_everything_is_there(new_address):
    from fastapi.testclient import TestClient

    from solespan.api.app import create_app
    from solespan.api.settings import Settings

    app = create_app(Settings(database_url=new_address), background=False)
    with TestClient(app, base_url="http://127.0.0.1:8000") as client:
        assert client.get("/v1/pairs").status_code == 200
        assert client.get("/sign-in", follow_redirects=False).headers["location"] == "/"
        assert "SOLESPAN_ACCOUNTS" in client.get("/account").text
        assert client.get("/people").status_code == 200
