"""Do mails reach a real server, and is what it refuses told apart?"""

from __future__ import annotations

from solespan.api.services.notices.deciding import preview, run
from solespan.api.services.notices.sending import Sender
from solespan.api.storage.notices.consents import is_stopped
from tests.api.notices.people import rows
from tests.api.notices.servers import Mailbox, mail_server


def test_a_real_server_gets_the_mail_once_with_its_headers(shop_on, new_address):
    mailbox = Mailbox()
    with mail_server(mailbox) as port:
        shop = shop_on(new_address, smtp_port=port)
        run(shop)
        assert Sender(shop, worker="one", chance=lambda: 0.5).drain().sent == 2
    mails = {mail["To"].addresses[0].addr_spec: mail for mail in mailbox.mails}
    mail = mails["ada@mail.example"]
    by_row = {row["message_id"] for row in rows(shop)}
    assert {m["Message-ID"] for m in mailbox.mails} == by_row
    assert mail["List-Unsubscribe"].startswith("<https://shop.example/unsubscribe/")
    assert all(b"\nList-Unsubscribe: <https://shop.example/" in raw for raw in mailbox.taken)
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert mail["From"].addresses[0].display_name == "Hide & Welt"
    text = mail.get_body(("plain",)).get_content()
    html = mail.get_body(("html",)).get_content()
    assert "between late November and late January 2027" in text
    assert "Hide &amp; Welt" in html
    assert "https://shop.example/answers/" in text


def test_what_a_real_server_refuses_is_told_apart(shop_on, new_address):
    mailbox = Mailbox()
    mailbox.refuse = {
        "ada@mail.example": "550 5.1.1 ada@mail.example: no such person",
        "bo@mail.example": "451 4.7.1 try later",
    }
    with mail_server(mailbox) as port:
        shop = shop_on(new_address, smtp_port=port)
        run(shop)
        done = Sender(shop, worker="one", chance=lambda: 0.5).drain()
    assert (done.failed, done.later) == (1, 1)
    told = {row["wearer_id"]: row for row in rows(shop)}
    assert told["ada"]["state"] == "failed"
    assert told["ada"]["problem"] == "the server refused the recipient (550 5.1.1)"
    assert told["bo"]["problem"] == "the server refused the recipient (451 4.7.1)"
    with shop.database.reading() as session:
        assert is_stopped(session, "ada@mail.example")
        assert not is_stopped(session, "bo@mail.example")


def test_an_address_that_is_none_stops_only_its_own_notice(shop_on, new_address):
    mailbox = Mailbox()
    with mail_server(mailbox) as port:
        shop = shop_on(new_address, smtp_port=port)
        bad = "ada@mail.example\r\nBcc: eve@mail.example"
        _set_address(shop, bad)
        assert (
            preview(shop).customers.set_index("wearer_id").loc["ada", "barred"] == "not an address"
        )
        assert run(shop).notices == 1, "the preview knows it"
        done = Sender(shop, worker="one", chance=lambda: 0.5).drain()
        assert (done.sent, done.failed) == (1, 0)
        _set_address(shop, "ada@mail.example")
        assert run(shop).notices == 1
        _set_address(shop, bad)  # after it was decided
        done = Sender(shop, worker="one", chance=lambda: 0.5).drain()
    assert (done.sent, done.failed) == (0, 1)
    assert mailbox.recipients == [["bo@mail.example"]]


def _set_address(shop, address):
    from sqlalchemy import update

    from solespan.api.storage.tables.rack import Wearer

    with shop.database.writing() as session:
        session.execute(update(Wearer).where(Wearer.wearer_id == "ada").values(email=address))


def test_no_server_at_all_is_a_reason_to_try_again(shop):
    run(shop)
    done = Sender(shop, worker="one", chance=lambda: 0.5).drain()
    assert done.later == 2
