"""Is nothing lost and nothing doubled, whatever fails, whenever, on either of two servers?

A state machine sends requests of the public API to two servers on one database, and keeps in memory
what they acknowledged. Each request meets a fault. Afterwards both servers must show what the model
holds, and the same request again, with its key, must be answered as if there had been no fault.
"""

from __future__ import annotations

from collections import Counter
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from solespan.api.app import create_app
from solespan.api.channels.message import DeliveryError
from solespan.api.clock import Clock
from solespan.api.errors import SolespanError
from solespan.api.problems import PROBLEMS
from solespan.api.schemas.notices.consents import ConsentGiven
from solespan.api.services.notices.choices import change_rules
from solespan.api.services.notices.consents import give
from solespan.api.services.notices.sending import Sender
from solespan.api.settings import Settings
from solespan.api.storage.notices.notices import list_notices
from solespan.api.wiring import Services, build_services
from tests.api.notices.people import RULES, SECRET, add_customers
from tests.databases import Databases
from tests.failure_lab.asgi import ask
from tests.failure_lab.faults import FAULTS, Killed, answer_lost, fault_on

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
WEARERS = ("dee", "eve", "flo")
DAYS = tuple(f"2026-11-{day:02d}" for day in range(2, 9))
PAIRS = ("ada-0", "bo-1")
STEPS = 15
FEWEST_RUNS = 25  # in fewer not every kind of fault has happened
SERVER = st.integers(0, 1)
FAULT = st.sampled_from(sorted(FAULTS))
MOSTLY_NONE = st.sampled_from(["none"] * len(FAULTS) + sorted(FAULTS))
AT = st.integers(1, 25)


class LabClock(Clock):
    """A clock that jumps."""

    moment = NOW

    def __init__(self) -> None:
        super().__init__(now=lambda: self.moment)

    def jump(self, **by: float) -> None:
        object.__setattr__(self, "moment", self.moment + timedelta(**by))


class Post:
    """A mail server that takes, refuses for now, takes and says nothing, or sees its client die."""

    needs_address, missing = True, ""

    def __init__(self) -> None:
        self.taken: list[tuple[str, str]] = []
        self.manner = "takes"

    def send(self, message: Any) -> None:
        if self.manner == "dies before":
            raise Killed
        if self.manner != "refuses":
            self.taken.append((message.message_id, f"{message.address} {message.text}"))
        if self.manner == "dies after":
            raise Killed
        if self.manner != "takes":
            raise DeliveryError("the mail server went away", permanent=False)

    def close(self) -> None:
        """Close nothing."""


def lab_settings(address: str) -> Settings:
    return Settings(
        database_url=address,
        database_wait_s=0.05,
        secret_key=SECRET,
        public_address="https://shop.example",
        smtp_host="127.0.0.1",
        smtp_from="bench@shop.example",
    )


@pytest.fixture(scope="module")
def apps(databases):
    """Two services; each run gives them a database of its own."""
    return [create_app(Settings(database_url=databases.empty), background=False) for _ in range(2)]


@pytest.fixture(scope="module")
def template(databases) -> str:
    """A shop whose notices can be decided and sent, made once."""
    address = databases.copy()
    services = build_services(lab_settings(address), LabClock())
    add_customers(services.database)
    with services.database.writing() as session:
        change_rules(session, RULES, None)
        for wearer_id in ("ada", "bo"):
            consent = {"wearer_id": wearer_id, "channel": "mail", "how": "paper", "by": "Mo"}
            give(session, ConsentGiven(**consent), services.clock)
    services.database.close()
    return address


class FailureLab(RuleBasedStateMachine):
    """Two servers, two workers, and what they acknowledged; the test gives what they stand on."""

    databases: Databases
    template: str
    apps: list[FastAPI]
    seen: Counter[str]

    @initialize(decided=st.booleans())
    def begin(self, decided) -> None:
        self.address = self.databases.copy(self.template)
        self.clock = LabClock()
        self.latest = NOW
        self.servers: list[Services] = []
        for number in range(2):
            self.servers.append(self.built(number))
        self.post = Post()
        self.keys = 0
        self.wearers = {w: (w.title(), 1) for w in ("ada", "bo", "cy")}
        self.days: set[tuple[str, str]] = set()
        if decided:
            answer = self.ask(0, "POST", "/v1/notices/runs", body={})
            assert answer.json()["notices"] == 2

    def built(self, number: int) -> Services:
        self.apps[number].state.services = build_services(lab_settings(self.address), self.clock)
        return self.apps[number].state.services

    def restart(self, number: int) -> None:
        """Begin again with what the database holds: the memory of the dead one is gone."""
        self.servers[number].database.close()
        self.servers[number] = self.built(number)

    def ask(self, number: int, method: str, path: str, *, lost: bool = False, **more: Any):
        app = answer_lost(self.apps[number]) if lost else self.apps[number]
        answer = ask(app, method, path, **more)
        if answer.status >= 400:
            kind = PROBLEMS[answer.json()["type"].removeprefix("/problems/")]
            assert kind.status == answer.status
            assert answer.status < 500 or answer.status == 503, answer.body
            assert answer.status != 503 or answer.headers["retry-after"]
        return answer

    def sent(self, number: int, fault: str, at: int, method: str, path: str, **more: Any):
        """Send with a fault, then again without while it is not known; return the answers."""
        first = None
        try:
            with fault_on(self.servers[number], fault, at):
                first = self.ask(number, method, path, lost=fault == "answer lost", **more)
        except Killed:
            self.seen["killed"] += 1
            self.restart(number)
        if first is not None:
            self.seen[str(first.status)] += 1
        if first is not None and first.status != 503:
            return None, first
        if first is not None:
            self.shows_what_was_acknowledged()  # refused for now: nothing of it is there
        return first, self.ask(1 - number, method, path, **more)

    def key(self) -> dict[str, str]:
        self.keys += 1
        return {"idempotency-key": f'"lab-{self.keys}"'}

    @rule(number=SERVER, fault=FAULT, at=AT, wearer_id=st.sampled_from(WEARERS))
    def add_wearer(self, number, fault, at, wearer_id) -> None:
        body = {"wearer_id": wearer_id, "name": wearer_id.title()}
        more = {"body": body, "headers": self.key()}
        _, answer = self.sent(number, fault, at, "POST", "/v1/wearers", **more)
        assert answer.status in (200, 201, 409), answer.body
        if answer.status == 201:
            assert wearer_id not in self.wearers
        self.wearers.setdefault(wearer_id, (wearer_id.title(), 1))

    @rule(
        number=SERVER,
        fault=FAULT,
        at=AT,
        wearer_id=st.sampled_from(WEARERS),
        name=st.sampled_from("xyz"),
    )
    def rename_wearer(self, number, fault, at, wearer_id, name) -> None:
        _, version = self.wearers.get(wearer_id, ("", 1))
        more = {"body": {"name": name}, "headers": {"if-match": f'"{version}"'}}
        path = f"/v1/wearers/{wearer_id}"
        _, answer = self.sent(number, fault, at, "PUT", path, **more)
        if wearer_id not in self.wearers:
            assert answer.status == 404
            return
        # 412 from the second attempt: the first was done, and its answer was lost
        assert answer.status in (200, 412), answer.body
        seen = self.ask(number, "GET", path).json()
        assert (seen["name"], seen["version"]) in (
            [(name, version + 1)]
            if answer.status == 412
            else [(name, version + 1), (name, version)]
        )
        self.wearers[wearer_id] = (name, seen["version"])

    @rule(
        number=SERVER,
        fault=FAULT,
        at=AT,
        pair_id=st.sampled_from(PAIRS),
        day=st.sampled_from(DAYS),
    )
    def log_day(self, number, fault, at, pair_id, day) -> None:
        more = {"body": {"pair_id": pair_id, "worn_on": day}, "headers": self.key()}
        _, answer = self.sent(number, fault, at, "POST", "/v1/wear-days", **more)
        assert answer.status in (200, 201, 409, 422), answer.body
        if answer.status == 201:
            assert (pair_id, day) not in self.days, "logged twice"
            self.days.add((pair_id, day))

    @rule(
        number=SERVER,
        fault=FAULT,
        at=AT,
        pair_id=st.sampled_from(PAIRS),
        days=st.sets(st.sampled_from(DAYS), min_size=2),
    )
    def log_days(self, number, fault, at, pair_id, days) -> None:
        put = [{"pair_id": pair_id, "worn_on": day} for day in sorted(days)]
        more = {"body": {"put": put}, "headers": self.key()}
        _, answer = self.sent(number, fault, at, "POST", "/v1/wear-days/batch", **more)
        assert answer.status in (200, 422), answer.body
        if answer.status == 200:
            self.days |= {(pair_id, day) for day in days}

    @rule(
        number=SERVER,
        fault=FAULT,
        at=AT,
        pair_id=st.sampled_from(PAIRS),
        day=st.sampled_from(DAYS),
    )
    def remove_day(self, number, fault, at, pair_id, day) -> None:
        path = f"/v1/wear-days/{pair_id}/{day}"
        more = {"headers": {"if-match": "*"}}
        _, answer = self.sent(number, fault, at, "DELETE", path, **more)
        assert answer.status in (200, 204, 404), answer.body
        self.days.discard((pair_id, day))

    @rule(number=SERVER, fault=FAULT, at=AT)
    def decide(self, number, fault, at) -> None:
        more = {"body": {}, "headers": self.key()}
        _, answer = self.sent(number, fault, at, "POST", "/v1/notices/runs", **more)
        assert answer.status < 500, answer.body

    @rule(
        number=SERVER,
        fault=MOSTLY_NONE,
        at=AT,
        manner=st.sampled_from(["takes", "refuses", "lies", "dies before", "dies after"]),
    )
    def send_notices(self, number, fault, at, manner) -> None:
        """Send a batch; what waits after a refusal comes due by the next jump of the clock."""
        self.post.manner = manner
        with suppress(Killed, SolespanError), fault_on(self.servers[number], fault, at):
            self.sender(number).once()
        self.restart(number)

    def sender(self, number: int) -> Sender:
        return Sender(
            self.servers[number],
            worker=f"worker-{number}-{self.keys}",
            chance=lambda: 0.5,
            channels={"mail": self.post},
        )

    @rule(hours=st.sampled_from([-30, -2, 1, 5, 26, 80]))
    def jump(self, hours) -> None:
        self.clock.jump(hours=hours)
        self.latest = max(self.latest, self.clock.now())

    @invariant()
    def shows_what_was_acknowledged(self) -> None:
        for number in range(2):
            rows = self.ask(number, "GET", "/v1/wearers?limit=200").json()["items"]
            wearers = {row["wearer_id"]: (row["name"], row["version"]) for row in rows}
            assert wearers == self.wearers
            rows = self.ask(number, "GET", "/v1/wear-days?limit=200").json()["items"]
            days = [(row["pair_id"], row["worn_on"]) for row in rows]
            assert sorted(days) == sorted(self.days)

    @invariant()
    def tells_nobody_two_different_things(self) -> None:
        by_id: dict[str, set[str]] = {}
        for message_id, words in self.post.taken:
            by_id.setdefault(message_id, set()).add(words)
        assert all(len(words) == 1 for words in by_id.values())
        assert len(by_id) == len({next(iter(words)) for words in by_id.values()})

    def teardown(self) -> None:
        if not hasattr(self, "post"):
            return
        try:
            self.everything_is_sent_in_the_end()
        finally:
            for services in self.servers:
                services.database.close()
            self.databases.drop(self.address)

    def everything_is_sent_in_the_end(self) -> None:
        """Let leases and quiet hours end; what was given up is asked for again."""
        self.post.manner = "takes"
        object.__setattr__(self.clock, "moment", self.latest)
        for number in (0, 1, 0, 1):
            self.clock.jump(hours=5)
            for row in self.notices():
                if row["state"] == "failed":
                    path = f"/v1/notices/{row['notice_id']}/retry"
                    assert self.ask(number, "POST", path).status == 200
            self.sender(number).drain()
        rows = self.notices()
        assert {row["state"] for row in rows} <= {"sent"}
        assert {row["message_id"] for row in rows} == {told for told, _ in self.post.taken}
        self.seen["notices"] += len(rows)
        self.seen["repeats"] += len(self.post.taken) - len(rows)

    def notices(self) -> list[dict[str, Any]]:
        with self.servers[0].database.reading() as session:
            return list_notices(session, limit=200)


@pytest.mark.slow
def test_no_fault_loses_or_doubles_anything(databases, template, apps, pytestconfig):
    """The same runs every time; by hand `--lab-runs 2000` makes more, `--lab-seed 7` others."""
    runs = pytestconfig.getoption("--lab-runs")
    seen: Counter[str] = Counter()
    on = {"databases": databases, "template": template, "apps": apps, "seen": seen}
    lab = type("Lab", (FailureLab,), on)
    drawn = pytestconfig.getoption("--lab-seed")
    run_state_machine_as_test(
        lab if drawn is None else seed(drawn)(lab),
        settings=settings(
            max_examples=runs,
            stateful_step_count=STEPS,
            suppress_health_check=list(HealthCheck),
        ),
    )
    if runs >= FEWEST_RUNS:
        assert min(seen[one] for one in ("killed", "503", "201", "notices")) > 0, seen
