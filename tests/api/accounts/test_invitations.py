"""Invitations let in whom they are for, and give nobody a way into another shop."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import func, select
from typer.testing import CliRunner

from solespan.api.cli import main as command_line
from solespan.api.services.accounts import people
from solespan.api.storage.accounts import accounts
from solespan.api.storage.tables.accounts import Invitation

OWNER, STAFF, OUTSIDER = "ada@example.org", "ben@example.org", "eve@example.org"
READ = {"scopes": ["read"]}
PASSWORD, SENTENCE = "the last on the left is mine", "a sentence of my own"


def token_in(page) -> str:
    return re.search(r'name="form_token" value="([^"]+)"', page.text)[1]


def invite(client, email: str, role: str = "staff") -> str:
    """Invite as who is signed in; return the address to pass on."""
    return client.put("/v1/invitations", json={"email": email, "role": role}).json()["path"]


def accept(client, path: str, password: str = SENTENCE):
    """Send what the form of an invitation sends."""
    typed = {"form_token": token_in(client.get("/sign-in")), "password": password}
    return client.post(path, data=typed, follow_redirects=False)


def test_an_owner_cannot_give_themselves_the_password_of_another_shops_owner(client, enter):
    enter(client, OUTSIDER)
    path = invite(client, OWNER)
    client.cookies.clear()
    assert 'type="password"' not in client.get(path).text
    assert accept(client, path, "eve takes all of it").status_code == 422
    enter(client, OUTSIDER)
    assert accept(client, path).status_code == 422, "nor by being signed in as somebody else"
    assert enter(client, OWNER, "eve takes all of it").status_code == 401
    assert enter(client, OWNER).status_code == 303


def test_who_belongs_elsewhere_joins_by_signing_in_and_keeps_the_password(client, enter):
    enter(client, OUTSIDER)
    path = invite(client, STAFF)
    client.cookies.clear()
    to_sign_in = re.search(r'href="(/sign-in[^"]+)"', client.get(path).text)[1]
    page = client.get(to_sign_in)
    assert f'value="{path}"' in page.text
    typed = {"form_token": token_in(page), "email": STAFF, "password": PASSWORD, "to": path}
    assert client.post("/sign-in", data=typed, follow_redirects=False).headers["location"] == path
    assert accept(client, path).headers["location"] == "/account"
    assert "Go to Other" in client.get("/account").text
    assert enter(client, STAFF).status_code == 303


def test_at_the_terminal_anybody_may_be_let_choose_a_new_password(
    client, enter, services, monkeypatch
):
    with services.database.writing() as session:
        accounts.join(
            session,
            user_pk=accounts.find_person(session, STAFF).user_pk,
            tenant_pk=accounts.find_tenant(session, "other"),
            role="staff",
        )
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", services.settings.database_url)
    monkeypatch.setattr("solespan.api.clock.Clock.now", services.clock.now)
    ran = CliRunner().invoke(command_line.build_app(), ["accounts", "invite", STAFF])
    path = re.search(r"/join/[\w-]+", ran.stdout)[0]
    assert accept(client, path).headers["location"] == "/sign-in"
    assert enter(client, STAFF).status_code == 401
    assert enter(client, STAFF, SENTENCE).status_code == 303
    enter(client, OWNER)
    said = [(e["actor"], e["action"]) for e in client.get("/v1/audit").json()["items"]]
    assert ("the terminal", "solespan accounts invite") in said


@pytest.mark.parametrize("way", ["command", "page", "program"])
@pytest.mark.parametrize(("email", "role"), [(OWNER, "owner"), (STAFF, "staff")])
def test_who_lost_a_password_keeps_the_role(client, enter, services, monkeypatch, email, role, way):
    if way == "command":
        monkeypatch.setenv("SOLESPAN_DATABASE_URL", services.settings.database_url)
        monkeypatch.setattr("solespan.api.clock.Clock.now", services.clock.now)
        said = CliRunner().invoke(command_line.build_app(), ["accounts", "invite", email]).stdout
        assert f"as {role}" in said
    else:
        enter(client, OWNER)
        typed = {"form_token": token_in(client.get("/people")), "email": email}
        said = (
            client.post("/people/invite", data=typed).text
            if way == "page"
            else client.put("/v1/invitations", json={"email": email}).text
        )
        (listed,) = client.get("/v1/invitations").json()
        assert listed["role"] == role
    path = re.search(r"/join/[\w-]+", said)[0]
    client.cookies.clear()
    assert accept(client, path).headers["location"] == "/sign-in"
    with services.database.reading() as session:
        roles = {m["email"]: m["role"] for m in people.members_of(session, 1)}
    assert roles == {OWNER: "owner", STAFF: "staff"}
    assert enter(client, email, SENTENCE).status_code == 303


def test_a_role_given_since_the_password_was_lost_is_kept(client, enter, services):
    enter(client, OWNER)
    path = client.put("/v1/invitations", json={"email": STAFF}).json()["path"]
    with services.database.writing() as session:
        ben = accounts.find_person(session, STAFF).user_pk
        accounts.join(session, user_pk=ben, tenant_pk=1, role="owner")
    assert accept(client, path).status_code == 303
    with services.database.reading() as session:
        assert [m["role"] for m in people.members_of(session, 1)] == ["owner", "owner"]


def test_who_was_removed_does_not_come_back_by_an_open_invitation(client, enter, services):
    enter(client, OWNER)
    path = client.put("/v1/invitations", json={"email": STAFF}).json()["path"]
    with services.database.writing() as session:
        people.remove_member(session, tenant_pk=1, member=STAFF, now=services.clock.now())
    client.cookies.clear()
    assert accept(client, path).status_code == 404


def test_of_new_people_only_the_first_is_an_owner(services, clock):
    database = services.database
    with database.writing() as session:
        new = people.new_tenant(session, tenant_id="new", name="New", kind="shop")
        for email, role in (("fay@example.org", "owner"), ("gus@example.org", "staff")):
            secret = people.invite(session, tenant_pk=new, email=email, role=None, now=clock.now())
            assert people.invitation_of(session, secret, clock.now())["role"] == role
            people.accept(session, secret=secret, password=SENTENCE, now=clock.now())


def test_the_last_owner_cannot_be_made_staff(client, enter, services):
    enter(client, OWNER)
    refused = client.put("/v1/invitations", json={"email": OWNER, "role": "staff"})
    assert refused.status_code == 409
    assert accept(client, invite(client, STAFF, "owner")).status_code == 303
    enter(client, OWNER)
    demoted = invite(client, OWNER, "staff")
    (ben,) = (m for m in client.get("/v1/members").json() if m["email"] == STAFF)
    assert client.delete(f"/v1/members/{ben['user_id']}").status_code == 204
    assert accept(client, demoted).status_code == 409, "there was another owner when it was made"
    with services.database.reading() as session:
        assert [m["role"] for m in accounts.list_members(session, 1)] == ["owner"]


def test_a_shop_is_called_as_it_was_named(client, enter, services, monkeypatch):
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", services.settings.database_url)
    ran = CliRunner().invoke(command_line.build_app(), ["accounts", "rename", " Awl & Last "])
    assert "own is called Awl & Last now" in ran.stdout
    enter(client, OWNER)
    assert "Join Awl &amp; Last" in client.get(invite(client, "new@example.org")).text


def test_who_leaves_is_forgotten_unless_they_belong_elsewhere(services):
    with services.database.writing() as session:
        ben = accounts.find_person(session, STAFF).user_pk
        other = accounts.find_tenant(session, "other")
        accounts.join(session, user_pk=ben, tenant_pk=other, role="staff")
        for tenant_pk, left in ((1, True), (other, False)):
            people.remove_member(
                session, tenant_pk=tenant_pk, member=STAFF, now=services.clock.now()
            )
            assert (accounts.find_person(session, STAFF) is not None) == left


def test_a_shop_of_very_many_customers_names_one_by_id(client, enter, monkeypatch):
    enter(client, OWNER)
    assert '<option value="carl">Carl of mine (carl)</option>' in client.get("/people").text
    monkeypatch.setattr("solespan.api.services.accounts.page.SHOWN_CUSTOMERS", 1)
    assert '<input id="r-wearer" name="wearer"' in client.get("/people").text


def test_who_comes_back_does_not_get_the_keys_back(client, enter, services, token_of):
    key = {"authorization": f"Bearer {token_of(STAFF, 'read')}"}
    assert client.get("/v1/pairs", headers=key).status_code == 200
    with services.database.writing() as session:
        people.remove_member(session, tenant_pk=1, member=STAFF, now=services.clock.now())
    enter(client, OWNER)
    path = invite(client, STAFF)
    client.cookies.clear()
    assert accept(client, path).status_code == 303
    assert client.get("/v1/pairs", headers=key).status_code == 401


@pytest.mark.parametrize("by_page", [True, False])
def test_an_open_invitation_is_listed_and_can_be_withdrawn(client, enter, by_page):
    enter(client, OWNER)
    path = invite(client, "typo@example.org")
    (listed,) = client.get("/v1/invitations").json()
    assert set(listed) == {"invitation_id", "email", "role", "expires_at"}
    page = client.get("/people")
    assert "typo@example.org" in page.text
    if by_page:
        typed = {"form_token": token_in(page), "invitation_id": listed["invitation_id"]}
        client.post("/people/withdraw", data=typed)
    else:
        address = f"/v1/invitations/{listed['invitation_id']}"
        assert [client.delete(address).status_code for _ in range(2)] == [204, 404]
    assert client.get("/v1/invitations").json() == []
    assert client.get(path).status_code == 404


def test_another_shops_invitations_are_not_there(client, enter):
    enter(client, OWNER)
    invite(client, "new@example.org")
    (listed,) = client.get("/v1/invitations").json()
    enter(client, OUTSIDER)
    assert client.get("/v1/invitations").json() == []
    assert client.delete(f"/v1/invitations/{listed['invitation_id']}").status_code == 404


def test_joining_and_what_a_form_does_is_signed_with_of_whom(client, enter):
    enter(client, OWNER)
    typed = {"form_token": token_in(client.get("/people")), "email": "new@example.org"}
    page = client.post("/people/invite", data=typed | {"role": "staff"})
    assert "http://127.0.0.1:8000/join/" in page.text
    assert accept(client, re.search(r"/join/[\w-]+", page.text)[0]).status_code == 303
    joined, invited = client.get("/v1/audit").json()["items"][:2]
    assert (joined["actor"], joined["action"]) == ("new@example.org", "POST /join/{secret}")
    assert invited["subject"] == {"what": "invite", "email": "new@example.org", "role": "staff"}
    enter(client, OWNER)
    client.delete(f"/v1/tokens/{client.put('/v1/tokens/till', json=READ).json()['token_id']}")
    page = client.get("/people").text
    for words in ("people: invite", "email new@example.org, role staff", "delete: tokens"):
        assert words in page, words


def test_the_address_of_somebody_who_never_came_is_swept_away(client, enter, services, clock):
    enter(client, OWNER)
    invite(client, "never@example.org")
    clock.move(days=3, hours=1)
    services.refitter.round()
    with services.database.reading() as session:
        assert session.scalar(select(func.count()).select_from(Invitation)) == 0
