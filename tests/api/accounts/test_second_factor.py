"""A second factor is asked of whom the shop says, works once a code, and is lost safely."""

from __future__ import annotations

import base64
import re
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pyotp
import pytest
from typer.testing import CliRunner

from solespan.api.cli import main as command_line
from solespan.api.errors import Refused
from solespan.api.services.accounts import codes, people, second_factor, totp
from solespan.api.storage.accounts import accounts, factors
from tests.api.accounts.conftest import OUTSIDER, OWNER, PASSWORD, STAFF, bearer, form_token
from tests.api.accounts.test_invitations import SENTENCE, accept, invite

PAGE = "/account/second-factor"
# RFC 6238, appendix B: seconds since 1970 and the code of eight digits (SHA-1).
RFC_SEED = base64.b32encode(b"12345678901234567890").decode()
RFC_CODES = {
    59: "94287082",
    1111111109: "07081804",
    1111111111: "14050471",
    1234567890: "89005924",
    2000000000: "69279037",
    20000000000: "65353130",
}


@pytest.fixture(autouse=True)
def _known_seed(monkeypatch):
    """Let every authenticator have one seed: no guess is right by chance."""
    monkeypatch.setattr("pyotp.random_base32", lambda: RFC_SEED)


def form(client, address: str, **typed: str):
    """Send a form with the token of this browser."""
    token = client.cookies.get("form_token") or form_token(client, "/sign-in")
    return client.post(address, data=typed | {"form_token": token}, follow_redirects=False)


@pytest.fixture
def add_factor(client, clock):
    """Give a function that adds an authenticator to who is signed in: its seed, and the codes."""

    def add() -> tuple[str, list[str]]:
        page = form(client, f"{PAGE}/begin", password=PASSWORD)
        assert page.headers["cache-control"] == "no-store"
        secret = re.search(r'name="secret" value="([^"]+)"', page.text)[1]
        seed = re.search(r"type this key: <code>([^<]+)", page.text)[1].replace(" ", "")
        done = form(client, f"{PAGE}/confirm", secret=secret, code=code_now(seed, clock))
        assert done.status_code in (200, 303)
        return seed, re.findall(r"<code>([A-Z2-7-]{29})</code>", done.text)

    return add


def code_now(seed: str, clock) -> str:
    return pyotp.TOTP(seed).at(clock.now())


@pytest.mark.parametrize("second", RFC_CODES)
def test_the_codes_are_those_of_rfc_6238(second):
    now = datetime.fromtimestamp(second, UTC)
    assert totp.moment_of(RFC_SEED, RFC_CODES[second][-6:], now) == second // 30
    assert totp.moment_of(RFC_SEED, "000000", now) is None


def test_6_5_3_seeds_and_recovery_codes_are_long_and_random(client, enter, add_factor, monkeypatch):
    enter(client, OWNER)
    _, first = add_factor()
    again = form(client, f"{PAGE}/codes", password=PASSWORD).text
    second = re.findall(r"<code>([A-Z2-7-]{29})</code>", again)
    assert len({*first, *second}) == 20
    assert {len(base64.b32decode(code.replace("-", ""))) for code in first} == {15}, "120 bits"
    monkeypatch.undo()
    seeds = {totp.new_seed() for _ in range(20)}
    assert len(seeds) == 20
    assert {len(base64.b32decode(seed)) for seed in seeds} == {20}, "160 bits"


def test_6_5_5_a_code_is_good_for_its_moment_and_the_ones_beside_it():
    def good(second: int) -> bool:
        code = pyotp.TOTP(RFC_SEED).generate_otp(100)
        return totp.moment_of(RFC_SEED, code, datetime.fromtimestamp(second, UTC)) == 100

    assert [good(s) for s in (2969, 2970, 3000, 3029, 3059, 3060)] == [
        *(False, True, True, True, True, False)
    ]


def test_6_3_3_who_has_a_second_factor_comes_in_with_both(client, enter, add_factor, clock):
    enter(client, OWNER)
    seed, _ = add_factor()
    client.cookies.clear()
    clock.move(minutes=1)
    asked = enter(client, OWNER)
    assert asked.headers["location"].startswith("/sign-in/code")
    assert client.get("/v1/pairs").status_code == 401, "the password alone opens nothing"
    assert form(client, "/sign-in/code", code="000000").status_code == 401
    entered = form(client, "/sign-in/code", code=code_now(seed, clock), to="/plan")
    assert entered.headers["location"] == "/plan"
    assert client.get("/v1/pairs").status_code == 200


def test_6_5_1_a_code_is_never_taken_twice(client, enter, add_factor, clock):
    enter(client, OWNER)
    seed, _ = add_factor()
    used_when_added = code_now(seed, clock)
    enter(client, OWNER)
    assert form(client, "/sign-in/code", code=used_when_added).status_code == 401
    clock.move(minutes=1)
    code = code_now(seed, clock)
    assert form(client, "/sign-in/code", code=code).status_code == 303
    enter(client, OWNER)
    assert form(client, "/sign-in/code", code=code).status_code == 401
    earlier = pyotp.TOTP(seed).at(int(clock.now().timestamp()) - 30)
    assert form(client, "/sign-in/code", code=earlier).status_code == 401, "nor one before it"


def test_6_5_1_of_senders_at_the_same_moment_one_uses_a_code(services, clock):
    with services.database.writing() as session:
        ada = accounts.find_person(session, OWNER).user_pk
        factors.add_factor(session, user_pk=ada, name="x", seed=RFC_SEED, moment=0, now=clock.now())
    code = code_now(RFC_SEED, clock)

    def use(_: int) -> str:
        with services.database.writing() as session:
            return codes.use_code(session, ada, code, clock.now())

    with ThreadPoolExecutor(4) as senders:
        assert sorted(senders.map(use, range(8))) == [""] * 7 + ["code"]


def test_6_5_1_6_5_2_a_recovery_code_works_once_and_its_hash_is_kept(
    client, enter, add_factor, services
):
    enter(client, OWNER)
    _, made = add_factor()
    assert len(set(made)) == 10
    with services.database.reading() as session:
        kept = str(session.connection().exec_driver_sql("SELECT * FROM recovery_codes").all())
    assert made[0].replace("-", "") not in kept
    typed = made[0].lower()
    enter(client, OWNER)
    assert form(client, "/sign-in/code", code=typed).status_code == 303
    assert "9 recovery codes are left" in client.get(PAGE).text
    enter(client, OWNER)
    assert form(client, "/sign-in/code", code=typed).status_code == 401
    assert form(client, "/sign-in/code", code=made[1]).status_code == 303


def test_6_6_3_codes_are_guessed_no_faster_than_passwords(client, enter, add_factor, clock):
    enter(client, OWNER)
    seed, _ = add_factor()
    clock.move(minutes=1)
    client.cookies.clear()
    enter(client, OWNER)
    told = [form(client, "/sign-in/code", code=f"00000{n}").status_code for n in range(6)]
    assert told == [401] * 5 + [429]
    assert form(client, "/sign-in/code", code=code_now(seed, clock)).status_code == 429
    clock.move(minutes=16)
    enter(client, OWNER)
    assert form(client, "/sign-in/code", code=code_now(seed, clock)).status_code == 303


def test_the_code_must_follow_in_five_minutes_and_in_the_same_browser(
    client, enter, add_factor, clock
):
    assert form(client, "/sign-in/code", code="123456").status_code == 401
    sent_on = client.get("/sign-in/code", follow_redirects=False)
    assert sent_on.headers["location"].startswith("/sign-in")
    enter(client, OWNER)
    seed, _ = add_factor()
    enter(client, OWNER)
    clock.move(minutes=5, seconds=1)
    late = form(client, "/sign-in/code", code=code_now(seed, clock))
    assert (late.status_code, "took too long" in late.text) == (401, True)


def test_7_5_1_every_change_of_factors_asks_for_the_password(client, enter, add_factor):
    enter(client, OWNER)
    add_factor()
    for what in ("begin", "remove", "codes"):
        answer = form(client, f"{PAGE}/{what}", password="guess", factor_id="x")
        assert (answer.status_code, "password is wrong" in answer.text) == (401, True)
    secret = "not one of ours"
    assert form(client, f"{PAGE}/confirm", secret=secret, code="123456").status_code == 404


def test_nobody_adds_a_factor_that_another_person_began(client, enter, clock):
    enter(client, OUTSIDER)
    page = form(client, f"{PAGE}/begin", password=PASSWORD)
    secret = re.search(r'name="secret" value="([^"]+)"', page.text)[1]
    seed = re.search(r"type this key: <code>([^<]+)", page.text)[1].replace(" ", "")
    enter(client, OWNER)
    code = code_now(seed, clock)
    assert form(client, f"{PAGE}/confirm", secret=secret, code=code).status_code == 404


def test_a_wrong_first_code_keeps_the_seed_and_adds_nothing(client, enter, clock):
    enter(client, OWNER)
    page = form(client, f"{PAGE}/begin", password=PASSWORD)
    secret = re.search(r'name="secret" value="([^"]+)"', page.text)[1]
    wrong = form(client, f"{PAGE}/confirm", secret=secret, code="000000")
    assert wrong.status_code == 401
    assert secret in wrong.text, "the form is there again"
    assert "Your authenticators" not in wrong.text
    seed = re.search(r"type this key: <code>([^<]+)", wrong.text)[1].replace(" ", "")
    done = form(client, f"{PAGE}/confirm", secret=secret, code=code_now(seed, clock))
    assert "Recovery codes" in done.text


def test_7_4_3_adding_and_removing_a_factor_ends_other_sessions(client, enter, add_factor, clock):
    enter(client, OWNER)
    elsewhere = client.cookies["solespan_session"]
    enter(client, OWNER)
    add_factor()
    assert len(client.get("/v1/sessions").json()) == 1
    page = client.get(PAGE)
    factor_id = re.search(r'<option value="([^"]+)"', page.text)[1]
    typed = {"password": PASSWORD, "factor_id": factor_id}
    assert form(client, f"{PAGE}/remove", **typed).status_code == 303
    assert client.get("/v1/pairs").status_code == 200
    client.cookies.clear()
    client.cookies.set("solespan_session", elsewhere)
    assert client.get("/v1/pairs").status_code == 401
    assert enter(client, OWNER).headers["location"] == "/", "the password suffices again"
    del clock


@pytest.mark.parametrize(
    ("asked_of", "email", "must"),
    [
        ("nobody", OWNER, False),
        ("owners", OWNER, True),
        ("owners", STAFF, False),
        ("everyone", STAFF, True),
    ],
)
def test_6_3_3_who_must_have_a_factor_adds_one_before_anything_else(
    client, enter, services, add_factor, asked_of, email, must
):
    with services.database.writing() as session:
        second_factor.put_policy(session, 1, asked_of)
    enter(client, email)
    told = client.get("/v1/pairs")
    assert told.status_code == (403 if must else 200)
    if must:
        assert told.json()["type"] == "/problems/second-factor-needed"
        page = client.get("/plan", headers={"accept": "text/html"}, follow_redirects=False)
        assert page.headers["location"] == PAGE
        assert "Your shop asks you" in client.get(PAGE).text
        add_factor()
        assert client.get("/v1/pairs").status_code == 200


def test_an_owner_chooses_of_whom_it_is_asked_on_the_page(client, enter, services):
    enter(client, OWNER)
    assert form(client, "/people/second-factor", asked_of="owners").status_code == 303
    assert client.get("/v1/pairs").status_code == 403, "of this owner, too"
    with services.database.reading() as session:
        assert second_factor.policy_of(session, 1) == "owners"
        other = accounts.find_tenant(session, "other")
        assert second_factor.policy_of(session, other) == "nobody"
    with services.database.writing() as session, pytest.raises(Refused):
        second_factor.put_policy(session, 1, "somebody")


def test_the_log_of_changes_holds_one_entry_for_a_new_factor(client, enter, add_factor):
    enter(client, OWNER)
    add_factor()
    said = [entry["action"] for entry in client.get("/v1/audit").json()["items"]]
    assert said == ["POST /account/second-factor/{what}"]


def test_a_key_of_a_program_works_on(client, services, token_of):
    key = bearer(token_of(OWNER, "read"))
    with services.database.writing() as session:
        second_factor.put_policy(session, 1, "everyone")
    assert client.get("/v1/pairs", headers=key).status_code == 200


def test_6_4_3_a_new_password_does_not_pass_by_the_second_factor(client, enter, add_factor):
    enter(client, STAFF)
    add_factor()
    enter(client, OWNER)
    path = invite(client, STAFF)
    client.cookies.clear()
    assert accept(client, path).headers["location"] == "/sign-in"
    assert enter(client, STAFF, SENTENCE).headers["location"].startswith("/sign-in/code")


def test_6_4_4_an_owner_resets_staff_only_and_the_operator_anybody(
    client, enter, add_factor, services, monkeypatch
):
    enter(client, OWNER)
    _, recovery = add_factor()
    enter(client, STAFF)
    add_factor()
    enter(client, OWNER)
    assert form(client, "/sign-in/code", code=recovery[0]).status_code == 303
    assert client.get("/people").text.count("Reset factor") == 1
    refused = form(client, "/people/reset-factor", email=OWNER)
    assert (refused.status_code, "operator" in refused.text) == (422, True)
    assert form(client, "/people/reset-factor", email=STAFF).status_code == 303
    assert enter(client, STAFF).headers["location"] == "/"
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", services.settings.database_url)
    ran = CliRunner().invoke(command_line.build_app(), ["accounts", "reset-factor", OWNER])
    assert "password alone" in ran.stdout
    assert enter(client, OWNER).headers["location"] == "/"


def test_an_owner_does_not_weaken_a_member_of_another_shop(client, enter, services, add_factor):
    enter(client, STAFF)
    add_factor()
    with services.database.writing() as session:
        ben = accounts.find_person(session, STAFF).user_pk
        other = accounts.find_tenant(session, "other")
        accounts.join(session, user_pk=ben, tenant_pk=other, role="owner")
        with pytest.raises(Refused):
            second_factor.reset_members_factor(session, 1, STAFF)
        people.remove_member(session, tenant_pk=1, member=STAFF, now=services.clock.now())
        assert factors.has_factor(session, ben)


def test_the_terminal_shows_and_sets_of_whom_it_is_asked(services, monkeypatch):
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", services.settings.database_url)

    def run(*words: str):
        return (
            CliRunner()
            .invoke(command_line.build_app(), ["accounts", "second-factor", *words])
            .stdout
        )

    assert "asked of: nobody" in run()
    assert "asked of: owners" in run("owners")
    assert "asked of: owners" in run()
