"""Does a mail that came back stop the address it was sent to, and no other mail any?"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import update

from solespan.api.channels.mail.bounce import read_report
from solespan.api.services.notices.consents import read_bounce
from solespan.api.services.notices.deciding import run
from solespan.api.storage.notices.consents import is_stopped
from solespan.api.storage.notices.notices import list_notices
from solespan.api.storage.tables.notices import Outbox

ADDRESS = "ada@mail.example"


def report(message_id: str, *, status="5.1.1", action="failed", to=ADDRESS, kind="rfc822-headers"):
    """A report as RFC 3464, appendix E, shows it."""
    returned = "message/rfc822" if kind == "rfc822" else "text/rfc822-headers"
    return f"""From: Mail Delivery <MAILER-DAEMON@mx.example>
To: bench@shop.example
Subject: Undelivered
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="b"

--b
Content-Type: text/plain

It could not be delivered to eve@mail.example.
--b
Content-Type: message/delivery-status

Reporting-MTA: dns; mx.example

Final-Recipient: rfc822; {to}
Action: {action}
Status: {status}
Diagnostic-Code: smtp; 550 {status} no such person

--b
Content-Type: {returned}

From: bench@shop.example
To: {ADDRESS}
Subject: A new sole
Message-ID: {message_id}

--b--
""".replace("\n", "\r\n").encode()


@pytest.fixture
def message_id(shop):
    run(shop, only={"ada"})
    with shop.database.reading() as session:
        return list_notices(session, limit=1)[0]["message_id"]


@pytest.mark.parametrize("kind", ["rfc822-headers", "rfc822"])
def test_a_notice_that_came_back_stops_its_address(shop, clock, message_id, kind):
    with shop.database.writing() as session:
        assert read_bounce(session, report(message_id, to="ADA@mail.example", kind=kind), clock)
        assert is_stopped(session, ADDRESS)
        assert not is_stopped(session, "eve@mail.example")
        assert list_notices(session, limit=1)[0]["state"] == "cancelled", "nothing more goes there"


def test_what_came_back_after_it_was_sent_is_shown_as_not_delivered(shop, clock, message_id):
    with shop.database.writing() as session:
        session.execute(update(Outbox).values(state="sent", done_at=clock.now()))
        assert read_bounce(session, report(message_id), clock)
        (row,) = list_notices(session, limit=5)
    assert (row["state"], row["problem"]) == ("failed", "it came back (5.1.1)")


@pytest.mark.parametrize(
    "change",
    [
        {"action": "delayed", "status": "4.4.1"},
        {"action": "delivered", "status": "2.0.0"},
        {"status": "5.7.1"},
        {"status": "5.2.2"},
        {"to": "eve@mail.example"},
    ],
)
def test_what_does_not_speak_of_the_mailbox_stops_nothing(shop, clock, message_id, change):
    with shop.database.writing() as session:
        assert not read_bounce(session, report(message_id, **change), clock)
        assert not is_stopped(session, ADDRESS)
        assert not is_stopped(session, "eve@mail.example")


def test_a_forged_report_stops_nothing(shop, clock, message_id):
    with shop.database.writing() as session:
        assert not read_bounce(session, report(f"<{'0' * 32}.mail@shop.example>"), clock)
        assert not is_stopped(session, ADDRESS)


@settings(max_examples=60)
@given(st.binary(max_size=300), st.integers(0, 900))
def test_whatever_comes_back_is_read_or_left(noise, at):
    whole = report("<1.mail@shop.example>")
    assert read_report(noise) is None
    read_report(whole[:at] + noise + whole[at:])
