"""Does a shop that sends heavy requests without an end keep to its share of the processor?"""

from __future__ import annotations

import asyncio
import json
import random

import pytest

from solespan.api.routes.edge.turns import (
    AT_WORK_S,
    CREDIT_S,
    MOST_WAITING,
    SHARE,
    FairShare,
    Turns,
    is_heavy,
)
from solespan.api.services.accounts.identity import Identity

SEED = 15
LONG_S = 500.0
HOSTILE, HONEST = 2, 1


class Hands:
    """A clock that stands until somebody moves it."""

    now = 0.0

    def __call__(self) -> float:
        return self.now


def used_share(rng, *, others: bool) -> float:
    """Send heavy requests for a long time, each as soon as it may; return the time they took."""
    clock, used = Hands(), 0.0
    shares = FairShare(clock)
    while clock.now < LONG_S:
        if others:
            shares.see(HONEST)
        shares.see(HOSTILE)
        clock.now += shares.wait_s(HOSTILE) + 0.001
        took = rng.uniform(0.01, 1.0)
        clock.now, used = clock.now + took, used + took
        shares.spend(HOSTILE, took)
    return used / clock.now


@pytest.mark.parametrize("turn", range(5))
def test_a_shop_gets_its_share_and_no_more_beside_others(turn):
    assert used_share(random.Random(SEED + turn), others=True) <= SHARE + 2 * CREDIT_S / LONG_S


def test_a_shop_alone_never_waits():
    assert used_share(random.Random(SEED), others=False) > 0.98


def test_others_that_went_long_ago_keep_nobody_waiting():
    clock = Hands()
    shares = FairShare(clock)
    shares.see(HONEST)
    shares.spend(HOSTILE, 5.0)
    assert shares.wait_s(HOSTILE) == pytest.approx((5.0 - CREDIT_S) / SHARE)
    clock.now += AT_WORK_S + 0.1
    assert shares.wait_s(HOSTILE) == 0.0


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "/v1/imports"),
        ("POST", "/v1/fit"),
        ("POST", "/v1/rack-plans"),
        ("POST", "/v1/wear-days/batch"),
        ("POST", "/v1/imports/i1/undo"),
        ("POST", "/v1/notices/runs"),
        ("PUT", "/v1/notices/template"),
        ("POST", "/import"),
        ("POST", "/revisions/r1/undo"),
        ("GET", "/export/backup"),
        ("GET", "/v1/workload"),
    ],
)
def test_what_makes_work_is_heavy(method, path):
    assert is_heavy(method, path)


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "/v1/wear-days"),
        ("POST", "/pairs/p1/worn"),
        ("GET", "/v1/imports"),
        ("GET", "/export"),
        ("GET", "/v1/wear-days/batch"),
    ],
)
def test_a_wear_and_a_look_are_not_heavy(method, path):
    assert not is_heavy(method, path)


def test_a_slow_line_at_either_end_costs_no_credit(monkeypatch):
    clock = Hands()
    monkeypatch.setattr("solespan.api.routes.edge.turns.time.monotonic", clock)
    turns = Turns(None)
    turns.shares = FairShare(clock)

    async def receive():
        clock.now += 7.0
        return {"type": "http.request"}

    async def work(_scope, receive, send):
        await receive()
        clock.now += CREDIT_S + 0.5
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body"})

    async def send(message):
        clock.now += 7.0 if message["type"] == "http.response.body" else 0.0

    turns.app = work
    scope = {
        "type": "http",
        "method": "GET",
        "path": "/export/backup",
        "headers": [],
        "state": {"identity": Identity(HOSTILE, "who", frozenset())},
    }
    asyncio.run(turns(scope, receive, send))
    turns.shares.see(HONEST)
    assert turns.shares.wait_s(HOSTILE) == pytest.approx(0.5 / SHARE)


def test_heavy_requests_of_a_shop_pass_one_by_one_and_the_rest_is_refused():
    done = {"most": 0, "now": 0, "all": 0}

    async def work(scope, receive, send):
        done["now"] += 1
        done["most"] = max(done["most"], done["now"])
        await asyncio.sleep(0)
        done["now"], done["all"] = done["now"] - 1, done["all"] + 1
        await send({"type": "http.response.start", "status": 201, "headers": []})

    async def ask(turns, tenant_pk):
        answers = []

        async def send(message):
            if message["type"] == "http.response.start":
                answers.append(message)

        scope = {
            "type": "http",
            "method": "POST",
            "path": "/v1/imports",
            "headers": [],
            "state": {"identity": Identity(tenant_pk, "who", frozenset())},
        }
        await turns(scope, None, send)
        return answers[0]

    async def crowd():
        turns = Turns(work)
        return await asyncio.gather(*(ask(turns, HOSTILE) for _ in range(MOST_WAITING + 3)))

    answers = asyncio.run(crowd())
    assert [answer["status"] for answer in answers].count(201) == MOST_WAITING == done["all"]
    assert done["most"] == 1
    refused = [answer for answer in answers if answer["status"] == 429]
    assert len(refused) == 3
    assert all(int(dict(answer["headers"])[b"retry-after"]) >= 1 for answer in refused)


def test_a_shop_in_debt_is_told_when_to_come_back():
    async def ask():
        turns = Turns(None)
        turns.shares.see(HONEST)
        turns.shares.spend(HOSTILE, CREDIT_S + 3.0)
        answers = []

        async def send(message):
            answers.append(message)

        scope = {
            "type": "http",
            "method": "POST",
            "path": "/v1/fit",
            "headers": [],
            "state": {"identity": Identity(HOSTILE, "who", frozenset())},
        }
        await turns(scope, None, send)
        return answers

    answer, body = asyncio.run(ask())
    assert answer["status"] == 429
    assert json.loads(body["body"])["type"].endswith("/busy-with-others")
    assert 25 <= int(dict(answer["headers"])[b"retry-after"]) <= 30
