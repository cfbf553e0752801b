"""Guesses are counted before they are looked at, and slow down the guesser alone."""

from __future__ import annotations

import json
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.services.accounts import attempts, secrets, sign_in
from solespan.api.settings import Settings
from tests.api.accounts.conftest import NOW
from tests.api.accounts.test_sign_in import reached_from
from tests.api.service.test_logs import lines_of, logging_as_the_service_does

OWNER, STAFF = "ada@example.org", "ben@example.org"
PASSWORD = "the last on the left is mine"
STRANGER = "203.0.113.9"


@pytest.fixture
def guess(services, clock):
    """Give a function that tries a password, and says what came of it."""

    def go(password="guess", *, email=OWNER, address=STRANGER, device=""):
        try:
            return sign_in.sign_in(
                services.database,
                email=email,
                password=password,
                browser=sign_in.Browser(address, device),
                now=clock.now(),
            )
        except (sign_in.SignInRefused, sign_in.TooManyTries) as error:
            return type(error)

    return go


def test_6_3_1_of_many_guesses_at_the_same_moment_five_are_looked_at(guess, monkeypatch):
    looked_at = []
    same = secrets.same_password
    monkeypatch.setattr(secrets, "same_password", lambda *a: looked_at.append(1) or same(*a))
    with ThreadPoolExecutor(8) as guessers:
        told = list(guessers.map(lambda n: guess(f"guess {n}"), range(40)))
    assert len(looked_at) == told.count(sign_in.SignInRefused) == 5
    assert told.count(sign_in.TooManyTries) == 35


def test_6_3_1_a_burst_from_one_address_locks_out_no_member_on_a_known_device(guess, clock):
    ada, ben = guess(PASSWORD), guess(PASSWORD, email=STAFF)
    told = {guess(email=f"{number}@example.org") for number in range(60)}
    assert told == {sign_in.SignInRefused, sign_in.TooManyTries}
    assert guess(PASSWORD) is sign_in.TooManyTries, "a device that nobody knows waits"
    assert guess(PASSWORD, device=ada.device).device == ada.device
    assert guess(PASSWORD, email=STAFF, device=ben.device).device == ben.device
    clock.move(minutes=1)
    assert isinstance(guess(PASSWORD), sign_in.Entered), "and waits a minute at most"


def test_6_3_1_guesses_from_many_addresses_lock_out_no_member_on_a_known_device(guess, clock):
    ada = guess(PASSWORD)
    for number in range(60):
        guess(address=f"198.51.100.{number}")
    assert guess(address="192.0.2.1") is sign_in.TooManyTries, "the account has a limit, too"
    assert guess(PASSWORD, device=ada.device).device == ada.device
    clock.move(minutes=1)
    assert isinstance(guess(PASSWORD, address="192.0.2.2"), sign_in.Entered)


def test_6_3_1_a_known_device_has_a_limit_of_its_own(guess, clock):
    ada = guess(PASSWORD)
    told = [guess(device=ada.device) for _ in range(6)]
    assert told == [sign_in.SignInRefused] * 5 + [sign_in.TooManyTries]
    assert guess(PASSWORD, device=ada.device) is sign_in.TooManyTries
    assert isinstance(guess(PASSWORD), sign_in.Entered), "without it, it is a stranger's"
    clock.move(minutes=16)
    assert isinstance(guess(PASSWORD, device=ada.device), sign_in.Entered)


def test_a_device_is_known_for_whom_signed_in_with_it_and_for_nobody_else(guess):
    ada = guess(PASSWORD)
    for _ in range(5):
        guess(email=STAFF)
    assert guess(PASSWORD, email=STAFF, device=ada.device) is sign_in.TooManyTries
    shared = guess(PASSWORD, email=STAFF, device=ada.device, address="192.0.2.5")
    assert shared.device == ada.device, "two people at one counter"
    made_up = guess(PASSWORD, device="made up", address="192.0.2.5")
    assert made_up.device not in ("made up", ada.device)


def test_6_3_1_addresses_of_one_ipv6_subscriber_count_as_one(guess):
    told = [guess(address=f"2001:db8:1:2::{number}") for number in range(6)]
    assert told[-1] is sign_in.TooManyTries
    assert guess(address="2001:db8:1:3::1") is sign_in.SignInRefused


def test_strangers_hash_a_few_at_once_and_never_in_a_members_turn():
    inside, go_on = threading.Barrier(3), threading.Event()

    def hash_something(_: int) -> bool:
        with secrets.turn(stranger=True) as mine:
            if mine:
                inside.wait(60)
                go_on.wait(60)
            return mine

    with ThreadPoolExecutor(secrets.AT_ONCE) as strangers:
        started = [strangers.submit(hash_something, n) for n in range(secrets.AT_ONCE)]
        inside.wait(60)
        assert not secrets._STRANGERS.acquire(blocking=False), "no third hash at once"
        with secrets.turn() as mine:
            assert mine, "a member waits for no stranger"
        go_on.set()
        assert all(each.result(60) for each in started)


def test_a_queue_that_is_full_turns_strangers_away_uncounted(guess):
    taken = 0
    while secrets._QUEUE.acquire(blocking=False):
        taken += 1
    try:
        assert taken == secrets.AT_ONCE + secrets.WAITING_STRANGERS
        assert [guess() for _ in range(7)] == [sign_in.TooManyTries] * 7
    finally:
        for _ in range(taken):
            secrets._QUEUE.release()
    assert isinstance(guess(PASSWORD), sign_in.Entered)


def test_no_wait_is_longer_than_its_limit():
    for limit in (attempts.OWN, attempts.SHARED):
        waits = [limit.wait((failures, NOW), NOW) for failures in range(100)]
        assert waits == sorted(waits)
        assert waits[limit.free - 1] == timedelta(0) < waits[limit.free]
        assert waits[-1] == limit.longest


@pytest.fixture
def new_app(services):
    """Give a function that makes the service anew: its middleware has seen nobody."""

    def make(**settings):
        given = Settings(database_url=services.settings.database_url, accounts=True, **settings)
        app = create_app(given, background=False)
        app.state.services = services
        return TestClient(app, base_url="http://127.0.0.1:8000")

    return make


def test_signing_in_is_not_slowed_by_the_changes_of_others_at_the_address(new_app, enter):
    client = new_app(writes_per_minute=3)
    assert [client.post("/answers/x9", data={}).status_code for _ in range(4)][-1] == 429
    assert enter(client, OWNER).status_code == 303


@pytest.mark.parametrize(
    ("peer", "trusted", "warned"),
    [("10.0.0.1", "", True), ("192.0.2.1", "10.0.0.0/8", True), ("10.0.0.1", "10.0.0.0/8", False)],
)
def test_a_proxy_that_is_not_declared_is_warned_of(new_app, capsys, peer, trusted, warned):
    proxied = reached_from(peer, new_app(), trusted)
    with logging_as_the_service_does():
        for _ in range(3):
            proxied.get("/sign-in", headers={"x-forwarded-for": "198.51.100.7"})
    lines = [line for line in lines_of(capsys) if line["event"] == "proxy_not_declared"]
    assert len(lines) == (1 if warned else 0)
    if warned:
        assert (lines[0]["level"], lines[0]["address"]) == ("warning", peer)
        assert "SOLESPAN_TRUSTED_PROXIES" in json.dumps(lines)
