"""A passkey signs its person in, at the address it was made for, and nobody else, and once."""

from __future__ import annotations

import json
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from solespan.api.services.accounts import passkeys, second_factor
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.accounts.passkeys import PasskeyRefused, Site, site_of
from solespan.api.settings import Settings
from solespan.api.storage.accounts import accounts
from solespan.api.storage.accounts import passkeys as kept
from solespan.api.wiring import build_services
from tests.api.accounts import device as spec
from tests.api.accounts.conftest import OUTSIDER, OWNER, PASSWORD, STAFF, bearer
from tests.api.accounts.device import ORIGIN, RP_ID, Device
from tests.api.accounts.test_second_factor import PAGE, form
from tests.api.accounts.test_security_log import security_lines
from tests.api.service.test_logs import logging_as_the_service_does
from tests.quick import some_quick

HERE = Site("localhost", "http://localhost:8000")
ADD, IN = "/account/passkeys", "/sign-in/passkey"


@pytest.fixture(autouse=True)
def _address(client, services, clock):
    """Let the service know its address, as passkeys belong to it."""
    address = services.settings.database_url
    known = Settings(database_url=address, accounts=True, public_address=HERE.origin)
    client.app.state.services = build_services(known, clock)
    yield
    client.app.state.services.database.close()


@pytest.fixture
def person(services):
    """Give a function that says who a member is."""

    def named(email: str = OWNER) -> Identity:
        with services.database.reading() as session:
            found = accounts.find_person(session, email)
        return Identity(1, email, frozenset(), user_pk=found.user_pk)

    return named


def new_device(**more) -> Device:
    made = Device.of_the_specification()
    return replace(made, **more)


def other_device(**more) -> Device:
    return Device(ec.derive_private_key(7, ec.SECP256R1()), b"another device", **more)


def added(client, device: Device, **typed: str):
    """Add a passkey to who is signed in; return the page that follows."""
    asked = form(client, f"{ADD}/question", password=PASSWORD)
    assert (asked.status_code, asked.headers["cache-control"]) == (200, "no-store"), asked.text
    made = device.make(asked.json(), HERE.origin, HERE.rp_id)
    return form(client, ADD, credential=made, **{"name": "My phone", **typed})


def asked(client, **typed: str) -> dict:
    answer = form(client, f"{IN}/question", **typed)
    assert answer.status_code == 200, answer.text
    return answer.json()


def signed(device: Device, question: dict, **more) -> str:
    return device.sign(question, **{"origin": HERE.origin, "rp_id": HERE.rp_id, **more})


def is_in(client) -> bool:
    return client.get("/v1/pairs").status_code == 200


def leave(client) -> None:
    """Go on in a browser that nobody signed in with."""
    client.cookies.clear()


def test_the_answers_of_the_specification_are_taken(services, person, monkeypatch, clock):
    who, site = person(), Site(RP_ID, ORIGIN)
    given_here = {"site": site, "now": clock.now()}
    for data in (spec.SPEC_MADE_DATA, spec.SPEC_DATA):
        monkeypatch.setattr(passkeys, "token_bytes", lambda _, d=data: spec.challenge_in(d))
        if data is spec.SPEC_MADE_DATA:
            passkeys.begin_passkey(services.database, who, password=PASSWORD, **given_here)
            made = spec.SPEC_MADE_ANSWER
            codes = passkeys.add_passkey(services.database, who, answer=made, name="", **given_here)
            assert len(codes) == 10
    passkeys.ask_for_signature(services.database, site, "here", user_pk=None, now=clock.now())
    seen = passkeys.check_signature(
        services.database, site, "here", answer=spec.SPEC_ANSWER, now=clock.now()
    )
    assert (seen.passkey["user_pk"], seen.sign_count) == (who.user_pk, 0)
    assert not seen.user_verified, "the flags of the answer are 0x19: present, not verified"


def test_our_device_has_the_key_of_the_specification():
    made = Device.of_the_specification().key.public_key().public_numbers()
    assert made.x.to_bytes(32, "big") in spec.SPEC_MADE


def test_a_passkey_is_the_second_factor_or_the_whole_sign_in(client, enter):
    device = new_device(count=1)
    enter(client, OWNER)
    page = added(client, device)
    assert len(re.findall(r"<code>([A-Z2-7-]{29})</code>", page.text)) == 10
    assert page.headers["cache-control"] == "no-store"
    leave(client)
    assert enter(client, OWNER).headers["location"].startswith("/sign-in/code")
    assert not is_in(client), "the password alone opens nothing"
    question = asked(client, after_password="true")
    assert [one["id"] for one in question["allowCredentials"]] == [spec.b64(device.credential_id)]
    answer = signed(device, question)
    typed = {"credential": answer, "after_password": "true", "to": "/plan"}
    assert form(client, IN, **typed).headers["location"] == "/plan"
    assert is_in(client)
    leave(client)
    question = asked(client)
    assert (question["allowCredentials"], question["userVerification"]) == ([], "required")
    entered = form(client, IN, credential=signed(device, question), to="//elsewhere.example")
    assert entered.headers["location"] == "/", "only to an address of ours"
    assert is_in(client)
    assert "My phone" in client.get(PAGE).text


def test_a_device_that_does_not_look_who_is_a_second_factor_only(client, enter):
    device = new_device(verifies=False)
    enter(client, OWNER)
    added(client, device)
    leave(client)
    refused = form(client, IN, credential=signed(device, asked(client)))
    assert (refused.status_code, "Sign in by password" in refused.text) == (401, True)
    assert not is_in(client)
    enter(client, OWNER)
    answer = signed(device, asked(client, after_password="true"))
    assert form(client, IN, credential=answer, after_password="true").status_code == 303


REFUSED = {
    "replay": "challenge is over",
    "late": "challenge is over",
    "another browser": "challenge is over",
    "wrong origin": "no right signature",
    "a challenge of its own": "challenge is over",
    "wrong key": "no right signature",
    "another person's": "another person's passkey",
    "wrong rpId": "no right signature",
    "unknown": "unknown passkey",
    "copied": "count did not rise",
}


def misused(client, clock, how: str, device: Device) -> dict[str, str]:
    """What somebody sends who misuses a passkey, alone."""
    question = asked(client)
    if how == "another browser":
        leave(client)
        form(client, f"{IN}/question")
    elif how == "late":
        clock.move(minutes=5, seconds=1)
    elif how == "a challenge of its own":
        question["challenge"] = spec.b64(b"x" * 32)
    elif how == "copied":
        device.count = 0
    elif how == "wrong key":
        device = replace(other_device(), credential_id=device.credential_id, user=device.user)
    elif how == "unknown":
        device = replace(device, credential_id=b"nobody's")
    elif how == "another person's":
        device.user = b"somebody else"
    where = {
        "wrong origin": {"origin": "http://localhost.example:8000"},
        "wrong rpId": {"rp_id": "example"},
    }.get(how, {})
    typed = {"credential": signed(device, question, **where)}
    if how == "replay":
        assert form(client, IN, **typed).status_code == 303
        client.post("/sign-out", data={"form_token": client.cookies["form_token"]})
    return typed


@pytest.mark.parametrize("how", some_quick(REFUSED, every=3))
def test_a_passkey_that_is_misused_opens_nothing(client, enter, clock, how, capsys):
    device = new_device(count=5)
    enter(client, OWNER)
    added(client, device)
    leave(client)
    typed = misused(client, clock, how, device)
    capsys.readouterr()
    with logging_as_the_service_does():
        told = form(client, IN, **typed)
    assert told.status_code == 401
    assert not is_in(client)
    (line,) = security_lines(capsys)
    assert (line["event"], line["why"]) == ("passkey_refused", REFUSED[how])


def test_after_a_password_no_other_persons_passkey_counts(client, enter):
    theirs = new_device()
    enter(client, OUTSIDER)
    added(client, theirs)
    leave(client)
    enter(client, OWNER)
    added(client, other_device())
    leave(client)
    enter(client, OWNER)
    question = asked(client, after_password="true")
    told = form(client, IN, credential=signed(theirs, question), after_password="true")
    assert (told.status_code, is_in(client)) == (401, False)
    assert "Your code" in told.text, "the page of the second step is there again"
    alone = signed(other_device(), asked(client, after_password="true"))
    assert form(client, IN, credential=alone).status_code == 401, "nor for another purpose"


def test_of_senders_with_one_answer_or_one_count_one_comes_in(services, person, clock):
    database, site = services.database, Site(RP_ID, ORIGIN)
    who, device = person(), new_device(count=3)
    question = passkeys.begin_passkey(database, who, site, password=PASSWORD, now=clock.now())
    made = device.make(json.loads(question))
    passkeys.add_passkey(database, who, site, answer=made, name="x", now=clock.now())
    asked = passkeys.ask_for_signature(database, site, "one", user_pk=None, now=clock.now())
    answer = device.sign(json.loads(asked))

    def check(_: int) -> bool:
        try:
            passkeys.check_signature(database, site, "one", answer=answer, now=clock.now())
        except PasskeyRefused:
            return False
        return True

    def use(_: int) -> bool:
        with database.writing() as session:
            (row,) = kept.list_passkeys(session, who.user_pk)
            return kept.use_passkey(session, row["id"], 4, clock.now())

    with ThreadPoolExecutor(4) as senders:
        for work in (check, use):
            assert sorted(senders.map(work, range(8))) == [False] * 7 + [True]


def test_6_3_3_a_passkey_is_the_second_factor_that_a_shop_asks_for(client, enter, services):
    with services.database.writing() as session:
        second_factor.put_policy(session, 1, "owners")
    enter(client, OWNER)
    assert client.get("/v1/pairs").status_code == 403
    assert "Add a passkey" in client.get(PAGE).text
    added(client, new_device())
    assert is_in(client)
    assert client.get("/people").text.count("second factor") >= 1


def test_7_5_1_passkeys_are_added_and_removed_by_password_and_others_are_signed_out(client, enter):
    enter(client, OWNER)
    elsewhere = client.cookies["solespan_session"]
    enter(client, OWNER)
    assert form(client, f"{ADD}/question", password="guess").status_code == 401
    added(client, new_device())
    assert added(client, other_device()).headers["location"] == f"{PAGE}?done=passkey"
    again = added(client, new_device())
    assert (again.status_code, "added already" in again.text) == (409, True)
    assert len(client.get("/v1/sessions").json()) == 1
    ids = re.findall(r'<option value="([^"]+)"', client.get(PAGE).text)
    typed = {"factor_id": ids[0], "password": "guess"}
    assert form(client, f"{PAGE}/remove", **typed).status_code == 401
    for one in ids:
        typed = {"factor_id": one, "password": PASSWORD}
        assert form(client, f"{PAGE}/remove", **typed).status_code == 303
    leave(client)
    client.cookies.set("solespan_session", elsewhere)
    assert not is_in(client)
    assert enter(client, OWNER).headers["location"] == "/", "the password suffices again"
    assert "recovery" not in client.get(PAGE).text, "its codes went with the last one"


def test_recovery_codes_work_beside_a_passkey(client, enter):
    enter(client, OWNER)
    codes = re.findall(r"<code>([A-Z2-7-]{29})</code>", added(client, new_device()).text)
    enter(client, OWNER)
    assert form(client, "/sign-in/code", code=codes[0]).status_code == 303
    assert "9 recovery codes are left" in client.get(PAGE).text


def test_a_question_is_answered_in_the_session_that_asked(client, enter):
    enter(client, OWNER)
    question = form(client, f"{ADD}/question", password=PASSWORD).json()
    made = new_device().make(question, HERE.origin, HERE.rp_id)
    enter(client, OWNER)
    assert form(client, ADD, credential=made).status_code == 401
    enter(client, STAFF)
    assert form(client, ADD, credential=made).status_code == 401
    assert "My phone" not in client.get(PAGE).text


def test_a_name_of_a_key_has_the_length_of_the_specification(client, enter):
    enter(client, OWNER)
    assert added(client, new_device(credential_id=b"x" * 1024)).status_code == 401
    assert added(client, new_device(credential_id=b"x" * 1023)).status_code == 200


def test_an_owner_and_the_operator_reset_passkeys_too(client, enter, services):
    enter(client, STAFF)
    added(client, new_device())
    leave(client)
    enter(client, OWNER)
    assert form(client, "/people/reset-factor", email=STAFF).status_code == 303
    leave(client)
    assert enter(client, STAFF).headers["location"] == "/"
    del services


def test_events_and_changes_of_a_passkey_are_lines_by_ids(client, enter, capsys):
    device = new_device()
    enter(client, OWNER)
    with logging_as_the_service_does():
        added(client, device)
        leave(client)
        form(client, IN, credential=signed(device, asked(client)))
    lines = security_lines(capsys)
    assert [line["event"] for line in lines] == [
        *("factor_added", "recovery_codes_made", "sign_in")
    ]
    assert lines[2]["second_factor"] == "passkey alone"
    said = [entry["action"] for entry in client.get("/v1/audit").json()["items"]]
    assert said == ["POST /account/passkeys"]


@settings(max_examples=25, suppress_health_check=list(HealthCheck))
@given(
    text=st.one_of(
        st.text(),
        st.recursive(
            st.none() | st.integers() | st.text(max_size=3),
            lambda below: (
                st.lists(below, max_size=2)
                | st.dictionaries(st.sampled_from(["id", "response", "clientDataJSON"]), below)
            ),
        ).map(json.dumps),
        st.binary(max_size=60).map(lambda part: spec.answer(part, clientDataJSON=part or b"x")),
    )
)
def test_whatever_text_is_sent_it_is_refused(services, person, clock, text):
    database, site = services.database, Site(RP_ID, ORIGIN)
    with pytest.raises(PasskeyRefused):
        passkeys.check_signature(database, site, "x", answer=text, now=clock.now())


@pytest.mark.parametrize(
    ("address", "rp_id", "origin"),
    [
        ("https://Shop.example", "shop.example", "https://shop.example"),
        ("https://shop.example:443", "shop.example", "https://shop.example"),
        ("https://shop.example:8443", "shop.example", "https://shop.example:8443"),
        ("http://localhost:8000", "localhost", "http://localhost:8000"),
    ],
)
def test_the_address_is_that_of_the_setting_as_browsers_write_it(address, rp_id, origin):
    assert site_of(Settings(public_address=address)) == Site(rp_id, origin)


@pytest.mark.parametrize("address", [None, "https://192.0.2.1", "http://[::1]:8000"])
def test_without_a_host_name_there_are_no_passkeys(client, enter, clock, services, address):
    known = Settings(
        database_url=services.settings.database_url, accounts=True, public_address=None
    )
    assert site_of(known.model_copy(update={"public_address": address})) is None
    client.app.state.services.database.close()
    client.app.state.services = build_services(known, clock)
    enter(client, OWNER)
    assert "passkeys" not in client.get(PAGE).text
    told = form(client, f"{ADD}/question", password=PASSWORD)
    assert (told.status_code, "host name" in told.json()["problem"]) == (422, True)


def test_a_key_of_a_program_adds_none(client, token_of):
    form(client, "/sign-in/passkey/question")
    headers = bearer(token_of(OWNER, "read", "write", "manage"))
    typed = {"form_token": client.cookies["form_token"], "password": PASSWORD}
    told = client.post(f"{ADD}/question", data=typed, headers=headers)
    assert told.status_code == 422, told.text
