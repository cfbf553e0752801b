"""Does one shop that is hostile in all it may send leave another's requests and notices alone?"""

from __future__ import annotations

import random
import threading
import time
import tracemalloc

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import insert

from solespan.api.app import create_app
from solespan.api.channels.message import DeliveryError
from solespan.api.schemas.notices.consents import ConsentGiven
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.services.notices import sending
from solespan.api.services.notices.choices import change_rules, shipped_template
from solespan.api.services.notices.consents import give
from solespan.api.services.notices.deciding import run
from solespan.api.services.notices.worker import NoticeWorker
from solespan.api.settings import Settings
from solespan.api.storage.notices.notices import list_notices
from solespan.api.storage.tables.accounts import Tenant
from solespan.api.wiring import build_services
from tests.api.importing.workbooks import zipped
from tests.api.notices.people import RULES, SECRET, add_customers

MOST_BYTES = 256 * 1024 * 1024
LOOP = "{% for a in cautions|join %}"
SEED = 15


class Hangs:
    """A channel whose server never answers until the test ends."""

    needs_address, missing = False, ""

    def __init__(self) -> None:
        self.asked, self.let_go = threading.Event(), threading.Event()

    def send(self, _message) -> None:
        self.asked.set()
        self.let_go.wait()
        raise DeliveryError("the webhook did not answer within 10 s", permanent=False)

    def close(self) -> None:
        """Close nothing."""


class Takes(Hangs):
    """A channel that takes everything."""

    def send(self, message) -> None:
        self.asked.set()


@pytest.fixture
def shops(new_address, clock):
    """The services of a hostile shop and of an honest one, with notices to send in both."""
    settings = Settings(
        database_url=new_address,
        secret_key=SECRET,
        public_address="https://shop.example",
        smtp_host="127.0.0.1",
        smtp_from="bench@shop.example",
    )
    hostile = build_services(settings, clock)
    with hostile.database.writing() as session:
        session.execute(insert(Tenant).values(tenant_id="two", name="Two", kind="shop"))
    honest = [*hostile.each_tenant()][-1]
    for shop in (hostile, honest):
        add_customers(shop.database)
        with shop.database.writing() as session:
            change_rules(session, NoticeRules.model_validate(RULES.model_dump()), None)
            for wearer_id in ("ada", "bo"):
                consent = {"wearer_id": wearer_id, "channel": "mail", "how": "paper", "by": "Mo"}
                give(session, ConsentGiven(**consent), clock)
    clock.move(days=163)  # the day of those customers' forecasts
    yield hostile, honest
    hostile.database.close()


def attacks(rng: random.Random):
    """Give requests of a hostile shop: wordings, archives, bodies and habits, in a drawn order."""
    shipped = shipped_template().model_dump()
    wordings = [LOOP * 2 + "{% endfor %}" * 2, "{{ " + "not " * 4000 + "1 }}", "<a " * 6000]
    bomb = zipped({"wear_days.csv": b"\0" * 40_000_000})
    archives = [bomb, bomb[: len(bomb) // 2], b"PK\3\4" + rng.randbytes(200_000)]
    sent = [
        ("PUT", "/v1/notices/template", {"json": shipped | {"html": words}}) for words in wordings
    ]
    sent += [
        ("POST", "/v1/imports", {"files": {"files": ("a.zip", data, "application/zip")}})
        for data in archives
    ]
    sent += [
        ("POST", "/v1/wearers", {"content": b"[" * 60_000}),
        ("POST", "/v1/what-if", {"json": {"wearer_id": "ada", "habits": [{"kind": "pace"}] * 50}}),
        ("POST", "/v1/wearers", {"json": {"wearer_id": "x", "name": "x" * 60_000}}),
    ]
    rng.shuffle(sent)
    return sent


@pytest.mark.slow
def test_while_one_shop_attacks_another_is_read_written_and_told(shops, monkeypatch):
    hostile, honest = shops
    hook, mail = Hangs(), Takes()
    theirs = hostile.database.tenant_pk
    monkeypatch.setattr(
        sending,
        "channels_of",
        lambda ctx, _rules: {"mail": hook if ctx.database.tenant_pk == theirs else mail},
    )
    for shop in shops:
        assert run(shop).notices == 2
    clients = {}
    for name, shop in zip(("hostile", "honest"), shops, strict=True):
        app = create_app(hostile.settings, background=False)
        app.state.services = shop
        clients[name] = TestClient(
            app, base_url="http://127.0.0.1:8000", raise_server_exceptions=False
        )
    worker = NoticeWorker(hostile, threads=2)
    worker.start()
    assert hook.asked.wait(120)
    tracemalloc.start()
    for number, (method, path, more) in enumerate(attacks(random.Random(SEED))):
        kind = {"content-type": "application/json"} if "content" in more else {}
        headers = kind | {"if-match": "*"}
        refused = clients["hostile"].request(method, path, headers=headers, **more)
        assert 400 <= refused.status_code < 500, (path, refused.text)
        made = clients["honest"].post("/v1/wearers", json={"wearer_id": f"new-{number}"})
        assert made.status_code == 201, made.text
        assert clients["honest"].get("/").status_code == 200
    assert tracemalloc.get_traced_memory()[1] < MOST_BYTES
    tracemalloc.stop()
    until = time.monotonic() + 120  # ends a test that hangs
    while states(honest) != {"sent"} and time.monotonic() < until:
        time.sleep(0.02)
    assert states(honest) == {"sent"}, "its notices go out while the other's server hangs"
    assert not hook.let_go.is_set()
    hook.let_go.set()
    worker.stop()
    assert states(hostile) <= {"pending", "claimed"}


def states(shop) -> set[str]:
    """Return the states of a shop's notices."""
    with shop.database.reading() as session:
        return {row["state"] for row in list_notices(session, limit=50)}
