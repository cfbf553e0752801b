"""Run in a copy of the program that has one more channel: `text`, a message to a telephone."""

from __future__ import annotations

import re
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.channels import CHANNELS
from solespan.api.channels.text import SENT
from solespan.api.clock import Clock
from solespan.api.services.notices.deciding import run
from solespan.api.services.notices.sending import Sender
from solespan.api.settings import Settings
from solespan.api.storage.notices.consents import is_stopped
from solespan.api.storage.schema import migrate
from solespan.api.storage.session import open_database
from tests.api.notices.people import SECRET, add_customers, rows

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
BASE = "https://127.0.0.1:8000"  # the public address begins with https
CONSENT = {"wearer_id": "bo", "channel": "text", "how": "by phone", "by": "Mo"}
RULES = {
    "shop_name": "Hide & Welt",
    "shop_contact": "12 Last Lane",
    "quiet_to": "20:00",
    "channels": ["text"],
}


def token_of(page: str) -> str:
    return re.findall(r'name="form_token" value="([^"]+)"', page)[0]


def chosen(client: TestClient) -> None:
    """The form of the rules offers it, and the rules take it."""
    assert "a message to their telephone" in client.get("/settings/notices").text
    seen = client.get("/v1/notices/rules")
    put = client.put("/v1/notices/rules", json=RULES, headers={"if-match": seen.headers["etag"]})
    assert put.status_code == 200, put.text


def agreed_to(client: TestClient) -> None:
    """The customers' page asks for a telephone number, and keeps it the one way."""
    page = client.get("/notices/customers").text
    assert "Telephone number, for text message" in page
    typed = {
        "form_token": token_of(page),
        "wearer": "ada",
        "do": "give",
        "channel": "text",
        "how": "at the counter",
        "by": "Mo",
        "address_text": "0043 (1) 234-5678",
    }
    sent = client.post("/notices/customers", data=typed, headers={"origin": BASE})
    assert sent.status_code == 200, sent.text
    assert "+4312345678" in client.get("/notices/customers").text
    for wrong in ("ada@mail.example", "12", "1 Welt Row"):
        refused = client.post("/v1/consents", json=CONSENT | {"address": wrong})
        assert refused.status_code == 422, wrong
    assert client.post("/v1/consents", json=CONSENT).status_code == 201
    (row,) = client.get("/v1/consents", params={"wearer_id": "ada"}).json()["items"]
    assert row["address"] == "+4312345678"


def previewed_and_sent(client: TestClient) -> None:
    """The preview shows the part it sends; sending hands over number and words."""
    services = client.app.state.services
    counts = client.get("/v1/notices/preview").json()["counts"]
    assert counts["no address"] == 2, "Bo gave no number"
    page = client.get("/notices/send").text
    assert "by text message" in page
    assert "<p><b>" not in page.partition('id="words"')[2], "a text message has no subject"
    assert run(services).notices == 1
    done = Sender(services, worker="one", chance=lambda: 0.5).drain()
    assert done.sent == 1
    (message,) = SENT
    assert message.address == "+4312345678"
    assert "Hide & Welt" in message.text
    assert (message.subject, message.html) == ("", "")
    (row,) = rows(services)
    assert (row["channel"], row["state"]) == ("text", "sent")
    assert "text message" in client.get("/notices").text


def stopped(client: TestClient) -> None:
    """A number that takes nothing is stopped like any other address."""
    answer = client.post("/v1/bounces", json={"channel": "text", "address": "+43 1 2345678"})
    assert answer.json() == {"stopped": True, "customers": 1}
    services = client.app.state.services
    with services.database.reading() as session:
        assert is_stopped(session, "+4312345678")
    assert "This address takes no notices: it bounced" in client.get("/notices/customers").text


if __name__ == "__main__":
    assert CHANNELS["text"].retry.give_up_after.days == 1
    with tempfile.TemporaryDirectory() as folder:
        address = f"sqlite:///{Path(folder) / 'made_up.sqlite3'}"
        migrate(open_database(address))
        settings = Settings(
            database_url=address, secret_key=SECRET, public_address="https://shop.example"
        )
        app = create_app(settings, clock=Clock(lambda: NOW), background=False)
        with TestClient(app, base_url=BASE) as served:
            add_customers(app.state.services.database)
            chosen(served)
            agreed_to(served)
            previewed_and_sent(served)
            stopped(served)
