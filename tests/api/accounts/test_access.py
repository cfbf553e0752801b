"""Every address of the service lets in those it is for, and nobody else."""

from __future__ import annotations

import re

import pytest
from fastapi.routing import iter_route_contexts
from fastapi.testclient import TestClient
from sqlalchemy import text

from solespan.api.app import create_app
from solespan.api.routes.edge.access import need_of
from solespan.api.settings import Settings

OPEN_ADDRESSES = {
    "/metrics",  # asks for a token or an address itself
    "/v1/health/live",
    "/v1/health/ready",
    "/assets/{url_name}",
    "/problems",
    "/problems/{name}",
    "/app.webmanifest",
    "/sw.js",
    "/help",
    "/help/{name:path}",
    "/calendar/{secret}.ics",
    "/answers/{token}",
    "/bookings/{token}",
    "/shared/{secret}",
    "/unsubscribe/{token}",
    "/sign-in",
    "/sign-in/code",
    "/sign-in/passkey",
    "/sign-in/passkey/question",
    "/join/{secret}",
    "/open/{secret}",
    "/connect/{secret}",
    "/reminders/off/{token}",
}


def bearer(token: str) -> dict[str, str]:
    return {"authorization": f"Bearer {token}"}


def addresses(client) -> list[tuple[str, str]]:
    """Every method and address of the service, as templates."""
    found = set()
    for context in iter_route_contexts(client.app.router.routes):
        for method in getattr(context, "methods", None) or ():
            found.add((method, context.path))
    assert len(found) > 100, "the routes were not found"
    return sorted(found)


def filled(template: str) -> str:
    """Put something into each part of an address that no record has."""
    return re.sub(r"\{[^}]+\}", "x9", template)


def send(client, method: str, template: str, headers=None):
    headers = {"content-type": "application/json", **(headers or {})}
    content = b"" if method in ("GET", "HEAD", "OPTIONS") else b"{}"
    return client.request(
        method, filled(template), headers=headers, content=content, follow_redirects=False
    )


def test_the_addresses_open_to_everybody_are_exactly_these(client):
    found = {t for method, t in addresses(client) if need_of(method, filled(t)) == "open"}
    assert found == OPEN_ADDRESSES


def test_nobody_reaches_anything_else_without_signing_in(client):
    for method, template in addresses(client):
        answer = send(client, method, template)
        if template in OPEN_ADDRESSES:
            assert answer.status_code not in (401, 403), (method, template)
        else:
            assert answer.status_code == 401, (method, template, answer.text[:200])
            assert "bearer" in answer.headers["www-authenticate"].lower()


@pytest.mark.parametrize(
    ("email", "scopes"),
    [
        pytest.param("ada@example.org", ("read",), marks=pytest.mark.slow),
        pytest.param("ada@example.org", ("read", "write"), marks=pytest.mark.slow),
        pytest.param("ada@example.org", ("read", "write", "notices"), marks=pytest.mark.slow),
        pytest.param("ada@example.org", ("manage",), marks=pytest.mark.slow),
        ("ben@example.org", ("read", "write", "notices", "manage")),
    ],
)
@pytest.mark.slow
def test_a_token_reaches_as_far_as_its_scopes_and_its_maker(client, token_of, email, scopes):
    may = set(scopes) - ({"manage"} if email.startswith("ben") else set())
    headers = bearer(token_of(email, *scopes))
    for method, template in addresses(client):
        need = need_of(method, filled(template))
        if need in ("open", "signed in"):
            continue
        answer = send(client, method, template, headers)
        allowed = need in may
        assert (answer.status_code != 403) == allowed or (
            allowed and answer.json()["type"] != "/problems/not-allowed"
        ), (method, template, need, answer.status_code, answer.text[:200])
        assert answer.status_code != 401, (method, template)


@pytest.mark.parametrize(
    "hidden", ["%0A", *(pytest.param(other, marks=pytest.mark.slow) for other in ("%0D", "%00"))]
)
def test_a_control_character_in_an_address_opens_nothing(client, token_of, hidden):
    """A route's pattern ends before a line's end, so the table of needs must not be passed by."""
    headers = bearer(token_of("ben@example.org", "read", "write", "notices"))
    for method, template in addresses(client):
        for address in (filled(template) + hidden, filled(template).replace("x9", f"x{hidden}9")):
            if "%" not in address:
                continue
            content = b"" if method in ("GET", "HEAD", "OPTIONS") else b'{"role": "owner"}'
            given = {"content-type": "application/json", **headers}
            answer = client.request(method, address, headers=given, content=content)
            assert answer.status_code in (400, 403), (method, address, answer.status_code)


def test_a_customer_sees_only_the_pages_made_for_them(client, link_of_carl, open_as_customer):
    open_as_customer(link_of_carl)
    for method, template in addresses(client):
        need = need_of(method, filled(template))
        if need in ("open", "signed in", "own"):
            continue
        answer = send(client, method, template)
        assert answer.status_code == 403, (method, template, answer.status_code)


def test_a_customer_who_opens_a_page_of_the_shop_is_led_to_their_own(
    client, link_of_carl, open_as_customer
):
    open_as_customer(link_of_carl)
    for address in ("/", "/people", "/pairs/oxford"):
        page = client.get(address, headers={"accept": "text/html"}, follow_redirects=False)
        assert (page.status_code, page.headers["location"]) == (303, "/my")


def test_what_another_shop_has_is_not_there(client, token_of, services):
    mine = bearer(token_of("ada@example.org", "read", "write", "manage"))
    theirs = bearer(token_of("eve@example.org", "read", "write", "manage"))
    assert client.get("/v1/pairs/oxford", headers=mine).json()["label"] == "mine"
    assert client.get("/v1/pairs/oxford", headers=theirs).json()["label"] == "theirs"
    made = client.post("/v1/wearers", json={"wearer_id": "dora", "name": "Dora"}, headers=theirs)
    assert made.status_code == 201
    ids = {
        "pair_id": "dora-1",
        "wearer_id": "dora",
        "construction": "blake",
    }
    assert client.post("/v1/pairs", json=ids, headers=theirs).status_code == 201
    for address in ("/v1/wearers/dora", "/v1/pairs/dora-1", "/pairs/dora-1"):
        assert client.get(address, headers=mine).status_code == 404, address
    assert client.put("/v1/customers/dora/link", headers=mine).status_code == 404
    assert client.put("/v1/customers/dora/link", headers=theirs).status_code == 200
    del services


def test_the_same_idempotency_key_in_two_shops_is_two_keys(client, token_of):
    said = {"idempotency-key": '"one"'}
    for email, label in (("ada@example.org", "Ada's"), ("eve@example.org", "Eve's")):
        answer = client.post(
            "/v1/wearers",
            json={"wearer_id": "new", "name": label},
            headers=said | bearer(token_of(email, "read", "write")),
        )
        assert answer.status_code == 201
        assert answer.json()["name"] == label


def test_a_browser_is_sent_to_sign_in_and_a_program_is_told(client):
    page = client.get("/plan", headers={"accept": "text/html"}, follow_redirects=False)
    assert page.status_code == 303
    assert page.headers["location"] == "/sign-in?to=%2Fplan"
    assert client.get("/v1/pairs").json()["type"] == "/problems/not-signed-in"


def test_what_staff_may_not_is_told_on_a_page(client, enter):
    enter(client, "ben@example.org")
    page = client.get("/people", headers={"accept": "text/html"})
    assert page.status_code == 403
    assert page.headers["content-type"].startswith("text/html")
    assert "Ask an owner" in page.text


def test_a_sender_who_changes_too_much_in_a_minute_is_slowed(services, token_of, monkeypatch):
    settings = Settings(
        database_url=services.settings.database_url, accounts=True, writes_per_minute=3
    )
    app = create_app(settings, background=False)
    app.state.services = services
    now = [1000.0]
    monkeypatch.setattr("solespan.api.routes.http.pace.time.monotonic", lambda: now[0])
    client = TestClient(app, base_url="http://127.0.0.1:8000", raise_server_exceptions=False)
    mine, ours = bearer(token_of(OWNER, "read", "write")), bearer(token_of(STAFF, "write"))

    def write(address: str, headers: dict[str, str]):
        return client.post(address, json={}, headers=headers)

    assert [write("/v1/wearers", mine).status_code for _ in range(4)] == [201, 201, 201, 429]
    assert write("/v1/wearers", mine).headers["retry-after"] == "60"
    assert write("/v1/wearers", ours).status_code == 201, "each sender has their own"
    assert client.get("/v1/wearers", headers=mine).status_code == 200, "looking is not slowed"
    asked = [write("/answers/x9", {}).status_code for _ in range(4)]
    assert asked.index(429) == 3, "who needs no account is slowed as well"
    now[0] += 61
    assert write("/v1/wearers", mine).status_code == 201


OWNER, STAFF = "ada@example.org", "ben@example.org"


def test_every_change_is_signed_with_who_made_it(client, token_of, enter):
    assert enter(client, OWNER).status_code == 303
    client.post(
        "/v1/wearers", json={"wearer_id": "zoe"}, headers={"origin": "http://127.0.0.1:8000"}
    )
    newest = client.get("/v1/audit").json()["items"][0]
    assert (newest["actor"], newest["action"]) == (OWNER, "POST /v1/wearers")
    del token_of


def test_the_form_of_the_bench_settings_is_signed(client, token_of, enter):
    enter(client, OWNER)
    page = client.get("/settings/benches").text
    typed = dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page))
    client.post(
        "/settings/benches",
        data=typed | {"benches": "2"},
        headers={"origin": "http://127.0.0.1:8000"},
    )
    newest = client.get("/v1/audit").json()["items"][0]
    assert (newest["actor"], newest["action"]) == (OWNER, "POST /settings/{name}")
    del token_of


def test_who_let_somebody_in_is_signed_as_well_and_no_secret_with_it(client, enter):
    enter(client, OWNER)
    made = client.put("/v1/invitations", json={"email": "new@example.org"}).json()
    client.put("/v1/tokens/till", json={"scopes": ["read"]})
    log = client.get("/v1/audit")
    said = [(entry["action"], entry["subject"]) for entry in log.json()["items"]]
    assert ("PUT /v1/invitations", {"email": "new@example.org"}) in said
    assert ("PUT /v1/tokens/{name}", {"name": "till"}) in said
    assert made["path"].removeprefix("/join/") not in log.text


def test_ticks_of_days_reach_the_own_shop_only(client, enter, services):
    """Both shops call a wearer `carl` and his pair `oxford`."""
    sole = {"sole_id": "s", "pair_id": "oxford", "fitted_on": "2026-01-01"}
    sole |= {"material": "rubber", "nominal_thickness_mm": 6}
    days = {}
    for email in ("eve@example.org", OWNER):
        client.cookies.clear()
        enter(client, email)
        own = {"origin": "http://127.0.0.1:8000"}
        assert client.post("/v1/soles", json=sole, headers=own).status_code == 201
        typed = {"wearer": "carl", "month": "2026-06", "pair": "oxford", "seen": ""}
        typed |= {"worn": "0.3" if email == OWNER else "0.4"}
        typed |= {"form_token": client.cookies["form_token"]}
        assert client.post("/log", data=typed, follow_redirects=False).status_code == 303
        listed = client.get("/v1/wear-days").json()["items"]
        days[email] = [row["worn_on"] for row in listed]
    assert days == {"eve@example.org": ["2026-06-04"], OWNER: ["2026-06-03"]}
    del services


def test_readiness_tells_a_stranger_only_that_it_is_ready(client, token_of):
    assert client.get("/v1/health/ready").json() == {"status": "ready"}
    for scope in ("read", "notices"):
        told = client.get("/v1/health/ready", headers=bearer(token_of(OWNER, scope)))
        assert told.json() == {"status": "ready"}
    told = client.get("/v1/health/ready", headers=bearer(token_of(OWNER, "manage"))).json()
    assert told == {"status": "ready", "database": "ready", "fit": "none"}


def test_readiness_reads_the_programs_own_migrations_once(client, services, monkeypatch):
    client.get("/v1/health/ready")

    def again(*_args):
        raise AssertionError("read again")

    monkeypatch.setattr("solespan.api.storage.schema.ScriptDirectory.from_config", again)
    assert client.get("/v1/health/ready").status_code == 200
    with services.database.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = 'another'"))
    answer = client.get("/v1/health/ready")
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/unavailable")
    assert "another" not in answer.text
