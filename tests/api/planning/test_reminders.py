"""Does a reminder arrive by push and mail, sealed and signed, once a week, never in quiet hours?"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import re
import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from icalendar import Calendar

from solespan.api.channels.push import Subscription, fault_of
from solespan.api.clock import Clock
from solespan.api.services.notices.worker import NoticeWorker
from solespan.api.services.planning import reminder_delivery, reminders
from solespan.api.services.planning.calendar import calendar_of
from solespan.api.services.planning.care import care_due
from solespan.api.services.planning.dates import day_words
from solespan.api.settings import Settings
from solespan.api.storage.planning import reminders as stored
from solespan.api.storage.planning.planning import keep_care
from solespan.api.wiring import build_services
from tests.api.notices.servers import Mailbox, mail_server
from tests.api.planning.racks import NOW

PAGE = {"accept": "text/html"}


def text_of(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).decode().rstrip("=")


def bytes_of(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


class PushService:
    """A push service with one browser: what it was sent, and what it answers."""

    def __init__(self) -> None:
        self.key = ec.generate_private_key(ec.SECP256R1())
        self.auth = b"sixteen letters!"
        self.posts: list[tuple[dict[str, str], bytes]] = []
        self.answers: list[int] = []

    @property
    def subscription(self) -> dict[str, str]:
        point = self.key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        place = f"http://127.0.0.1:{self.port}/send/one?x=1"
        return {"endpoint": place, "p256dh": text_of(point), "auth": text_of(self.auth)}

    def opened(self, body: bytes) -> dict[str, str]:
        """Decrypt as RFC 8291, 3.4, and RFC 8188 say, by another library than the sender's."""
        salt, size, length = body[:16], int.from_bytes(body[16:20], "big"), body[20]
        sender, sealed = body[21 : 21 + length], body[21 + length :]
        assert len(sealed) <= size
        theirs = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), sender)
        mine = bytes_of(self.subscription["p256dh"])
        secret = self.key.exchange(ec.ECDH(), theirs)
        both = hmac.digest(self.auth, secret, hashlib.sha256)
        known = b"WebPush: info\0" + mine + sender + b"\1"
        seed = hmac.digest(salt, hmac.digest(both, known, hashlib.sha256), hashlib.sha256)
        key = hmac.digest(seed, b"Content-Encoding: aes128gcm\0\1", hashlib.sha256)[:16]
        nonce = hmac.digest(seed, b"Content-Encoding: nonce\0\1", hashlib.sha256)[:12]
        plain = AESGCM(key).decrypt(nonce, sealed, None).rstrip(b"\0")
        assert plain.endswith(b"\2"), "the last record"
        return json.loads(plain[:-1])


@pytest.fixture
def push() -> Iterator[PushService]:
    service = PushService()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["content-length"]))
            service.posts.append((dict(self.headers), body))
            self.send_response(service.answers.pop(0) if service.answers else 201)
            self.send_header("content-length", "0")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    service.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield service
    server.shutdown()
    thread.join()
    server.server_close()


class Moving(Clock):
    """A clock that tests move."""

    moment = NOW

    def __init__(self) -> None:
        super().__init__(now=lambda: self.moment)

    def move(self, **by: float) -> None:
        object.__setattr__(self, "moment", self.moment + timedelta(**by))


@pytest.fixture
def clock() -> Moving:
    return Moving()


@pytest.fixture
def household(client, rack_address, clock, push):
    """The service with the rack, a clock that moves, and a push service inside its network."""
    settings = Settings(database_url=rack_address, webhook_private_addresses=True)
    services = build_services(settings, clock)
    client.app.state.services = services
    first = care_due(services, "ada")["items"][0]
    with services.database.writing() as session:  # noted once, long ago, so that it counts
        keep_care(session, first["pair_id"], first["care"], (NOW - timedelta(days=300)).date())
    yield services
    services.database.close()


def post(client, what: str, **typed: str):
    client.get("/reminders", headers=PAGE)
    typed = {"wearer": "ada", "form_token": client.cookies["form_token"], **typed}
    return client.post(f"/reminders/{what}", data=typed, follow_redirects=False)


ALL = {"kind_book_by": "true", "kind_send_by": "true", "kind_care": "true", "kind_check": "true"}
DAY_AND_NIGHT = {"quiet_from": "00:00", "quiet_to": "00:00"}


def subscribe(client, push: PushService) -> None:
    assert post(client, "push", **push.subscription).status_code == 303
    assert post(client, "keep", **ALL, **DAY_AND_NIGHT).status_code == 303


def remind(household) -> int:
    return reminder_delivery.remind(household, chance=lambda: 0.5)


def test_a_push_is_sealed_for_one_browser_and_signed_by_this_service(client, household, push):
    subscribe(client, push)
    assert remind(household) == 1
    (headers, body) = push.posts[0]
    said = push.opened(body)
    assert "ask" in said["title"]
    assert "Send by: " in said["body"] or "Care: " in said["body"]
    kind, _, rest = headers["Authorization"].partition(" ")
    token, key = (part.partition("=")[2] for part in rest.split(","))
    assert kind == "vapid"
    page = client.get("/reminders", headers=PAGE).text
    assert key == re.search(r'data-key="([^"]+)"', page)[1], "the key that the browser knows"
    head, claims, signature = token.split(".")
    assert json.loads(bytes_of(head))["alg"] == "ES256"
    r, s = (int.from_bytes(part, "big") for part in _halves(bytes_of(signature)))
    public = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), bytes_of(key))
    public.verify(
        encode_dss_signature(r, s), f"{head}.{claims}".encode(), ec.ECDSA(SHA256())
    )  # raises
    claims = json.loads(bytes_of(claims))
    assert claims["aud"] == f"http://127.0.0.1:{push.port}"
    assert NOW < datetime.fromtimestamp(claims["exp"], UTC) <= NOW + timedelta(hours=24)
    assert claims["sub"].startswith("mailto:")
    assert (headers["Content-Encoding"], headers["Urgency"]) == ("aes128gcm", "normal")
    assert int(headers["TTL"]) == 7 * 86400


def _halves(signature: bytes) -> tuple[bytes, bytes]:
    assert len(signature) == 64
    return signature[:32], signature[32:]


def test_at_most_one_a_week_and_none_without_anything_new(client, household, push, clock):
    subscribe(client, push)
    assert remind(household) == 1
    clock.move(days=6, hours=23)
    assert remind(household) == 0
    clock.move(hours=2)
    with household.database.writing() as session:  # all that can be told was told
        stored.note_look(session, 1, clock.now(), _all_keys(household, session))
    assert remind(household) == 0
    assert len(push.posts) == 1


def _all_keys(household, session) -> list[str]:
    kinds = ("book by", "send by", "care", "check")
    facts = reminder_delivery.facts_of(household, session, "ada", kinds)
    return [fact.key for fact in facts]


def test_a_reminder_says_the_days_and_words_of_the_calendar(client, household, push, clock):
    subscribe(client, push)
    first = min(day for summary, day in _days(household).items() if "by: " in summary)
    clock.move(days=(date.fromisoformat(first) - NOW.date()).days - 3)
    remind(household)
    days = _days(household)
    told = push.opened(push.posts[0][1])["body"].splitlines()
    lines = [line for line in told if " by: " in line]
    assert lines
    for line in lines:
        summary, _, day = line.rstrip(".").rpartition(", ")
        assert day_words(date.fromisoformat(days[summary]), clock.now().date()) == day


def _days(household) -> dict[str, str]:
    events = Calendar.from_ical(calendar_of(household, "ada")).walk("VEVENT")
    return {" ".join(str(e["summary"]).split()): e["dtstart"].dt.isoformat() for e in events}


def test_quiet_hours_are_those_of_the_wearers_clock(client, household, push, clock):
    subscribe(client, push)
    with household.database.reading() as session:
        zone = stored.due_reminders(session, clock.now(), 5)[0]["time_zone"]
    here = clock.now().astimezone(reminder_delivery.zone_of(zone))
    begins, ends = (here + timedelta(hours=h) for h in (-1, 2))
    post(
        client,
        "keep",
        **ALL,
        quiet_from=begins.strftime("%H:%M"),
        quiet_to=ends.strftime("%H:%M"),
    )
    assert remind(household) == 0
    clock.move(hours=1, minutes=59)
    assert remind(household) == 0
    clock.move(minutes=1)
    assert remind(household) == 1


def test_a_busy_service_is_tried_again_and_one_that_is_gone_is_forgotten(
    client, household, push, clock
):
    subscribe(client, push)
    push.answers = [503, 429, 201]
    sent = []
    for _ in range(3):
        sent.append(remind(household))
        clock.move(hours=1)
    assert sent == [0, 0, 1]
    assert len(push.posts) == 3
    push.answers = [410]
    post(client, "test")
    assert remind(household) == 0
    assert "Remove " not in client.get("/reminders", headers=PAGE).text


def test_a_link_ends_reminders_with_one_tap_and_a_look_at_it_changes_nothing(
    client, household, push
):
    subscribe(client, push)
    with household.database.writing() as session:
        link = reminders.off_link(household, session, 1)
    assert link.startswith("http://127.0.0.1:8000/reminders/off/")
    path = link.removeprefix("http://127.0.0.1:8000")
    assert client.get(path, headers=PAGE).status_code == 200
    assert remind(household) == 1
    forged = path[:-1] + ("A" if path[-1] != "A" else "B")
    for wrong in (forged, "/reminders/off/1.2.x", "/reminders/off/x"):
        assert client.post(wrong, data={"List-Unsubscribe": "One-Click"}).status_code == 404
    assert client.post(path, data={"x": "y"}).status_code == 422, "a form of another site"
    assert client.post(path, data={"List-Unsubscribe": "One-Click"}).status_code == 200
    assert "Send me a test" not in client.get("/reminders", headers=PAGE).text
    with household.database.reading() as session:
        assert stored.next_due(session) is None


def test_the_worker_sends_a_test_by_mail_and_by_push(client, rack_address, clock, push):
    mailbox = Mailbox()
    with mail_server(mailbox) as port:
        settings = Settings(
            database_url=rack_address,
            webhook_private_addresses=True,
            smtp_host="127.0.0.1",
            smtp_port=port,
            smtp_security="plain",
            smtp_from="shoes@example.org",
        )
        services = build_services(settings, clock)
        client.app.state.services = services
        subscribe(client, push)
        post(client, "keep", **DAY_AND_NIGHT, address="ada@example.org")
        assert post(client, "test").headers["location"].endswith("done=test")
        worker = NoticeWorker(services, chance=lambda: 0.5)
        worker.once()
        worker.stop()
        services.database.close()
    assert push.opened(push.posts[-1][1])["title"] == "A test from your rack"
    (mail,) = mailbox.mails
    assert mail["To"].addresses[0].addr_spec == "ada@example.org"
    assert "/reminders/off/" in mail["List-Unsubscribe"]
    assert "Reminders reach you this way" in mail.get_body(("plain",)).get_content()


@pytest.mark.parametrize(
    ("endpoint", "fault"),
    [
        ("https://127.0.0.1/x", "inside"),
        ("https://localhost/x", "inside"),
        ("https://[::1]/x", "inside"),
        ("http://push.example/x", "https"),
        ("ftp://push.example/x", "https"),
        ("https://user@push.example/x", "https"),
        ("https://push.example/" + "x" * 1000, "https"),
        ("https://push.example/x", ""),
    ],
)
def test_a_push_service_is_reached_by_https_outside_this_network(push, endpoint, fault):
    given = Subscription(**{**push.subscription, "endpoint": endpoint})
    said = fault_of(given, allow_private=False)
    assert fault in said if fault else not said


@pytest.mark.parametrize(("field", "value"), [("p256dh", "x"), ("auth", "AAAA"), ("endpoint", "")])
def test_what_no_browser_gives_is_refused(client, household, push, field, value):
    answer = post(client, "push", **{**push.subscription, field: value})
    assert answer.status_code == 422
    assert "This browser cannot take push messages" in answer.text


def test_wrong_wishes_are_refused_and_stay_typed(client, household):
    answer = post(client, "keep", **ALL, quiet_from="late", quiet_to="08:00", address="ada@x.org")
    assert answer.status_code == 422
    assert "ada@x.org" in answer.text
    answer = post(client, "keep", **ALL, **DAY_AND_NIGHT, address="nobody")
    assert "no e-mail address" in answer.text


def test_the_page_gives_the_calendars_address_once(client, household):
    made = post(client, "calendar")
    assert made.headers["cache-control"] == "no-store"
    link = re.search(r"http://127.0.0.1:8000(/calendar/[^<]+\.ics)", made.text)[1]
    assert client.get(link).headers["content-type"].startswith("text/calendar")
    assert link not in client.get("/reminders", headers=PAGE).text
    assert post(client, "end-calendar").status_code == 303
    assert client.get(link).status_code == 404


def test_nobody_is_reminded_who_is_not_there(client, household, push):
    assert post(client, "push", wearer="nobody", **push.subscription).status_code == 404
