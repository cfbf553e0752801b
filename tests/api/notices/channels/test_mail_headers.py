"""Can nothing that a customer or a shop typed add a header or a recipient?"""

from __future__ import annotations

from datetime import UTC, datetime
from email import message_from_bytes
from email.policy import SMTP

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solespan.api.channels.addresses import usable_mail
from solespan.api.channels.mail.build import BadHeader, build_mail
from solespan.api.channels.message import Message
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.settings import Settings

SETTINGS = Settings(smtp_from="bench@shop.example")
EXPECTED = {
    "From",
    "To",
    "Subject",
    "Date",
    "Message-ID",
    "Auto-Submitted",
    "List-Unsubscribe",
    "List-Unsubscribe-Post",
    "MIME-Version",
    "Content-Type",
}


def message(**more: object) -> Message:
    plain = {
        "message_id": "<1.mail@shop.example>",
        "notice_id": "1",
        "made_at": datetime(2026, 11, 25, 12, tzinfo=UTC),
        "customer_id": "ada",
        "customer_name": "Ada",
        "address": "ada@mail.example",
        "subject": "Oxford",
        "text": "Hello",
        "html": "<p>Hello</p>",
        "unsubscribe_url": "https://shop.example/unsubscribe/x",
        "pairs": [],
    }
    return Message(**(plain | more))


def parsed(**more: object):
    shop_name = str(more.pop("shop_name", "Shop"))
    mail = build_mail(message(**more), SETTINGS, NoticeRules.model_construct(
        **NoticeRules().model_dump() | {"shop_name": shop_name}
    ))  # fmt: skip
    return message_from_bytes(mail.as_bytes(), policy=SMTP)


def test_a_mail_carries_what_lets_a_reader_leave_in_one_click():
    """RFC 2369 and RFC 8058: both headers, an https address between angle brackets."""
    mail = parsed()
    assert mail["List-Unsubscribe"] == "<https://shop.example/unsubscribe/x>"
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert [p.get_content_type() for p in mail.iter_parts()] == ["text/plain", "text/html"]


def test_without_https_one_click_is_not_promised():
    """RFC 8058, 3.1: the address must be https."""
    mail = parsed(unsubscribe_url="http://127.0.0.1:8000/unsubscribe/x")
    assert mail["List-Unsubscribe-Post"] is None
    assert mail["List-Unsubscribe"]


@pytest.mark.parametrize("host", ["shop.example", "a-shop-with-a-long-name." * 6 + "example"])
def test_the_way_out_stands_in_the_mail_as_it_is(host):
    """What is on the wire, not what a parser makes of it: readers decode no encoded words here."""
    url, message_id = f"https://{host}/unsubscribe/{'A' * 59}", f"<{'0' * 32}.mail@{host}>"
    mail = build_mail(
        message(unsubscribe_url=url, message_id=message_id, subject="Ü" * 190),
        SETTINGS,
        NoticeRules(shop_name="Shop"),
    )
    lines = mail.as_bytes().decode("ascii").split("\r\n")
    assert f"List-Unsubscribe: <{url}>" in lines
    assert "List-Unsubscribe-Post: List-Unsubscribe=One-Click" in lines
    assert f"Message-ID: {message_id}" in lines
    assert max(map(len, lines)) <= 998


@settings(max_examples=60)
@given(st.text(max_size=60), st.text(max_size=60), st.text(max_size=60))
def test_no_text_adds_a_header_or_a_recipient(name, subject, shop_name):
    injected = "\r\nBcc: eve@mail.example"
    try:
        mail = parsed(
            customer_name=name + injected,
            subject=subject + injected,
            shop_name=shop_name + injected,
        )
    except BadHeader:
        return
    assert set(mail.keys()) == EXPECTED
    assert [a.addr_spec for a in mail["To"].addresses] == ["ada@mail.example"]
    assert [a.addr_spec for a in mail["From"].addresses] == ["bench@shop.example"]


@pytest.mark.parametrize(
    "address",
    [
        "ada@mail.example\r\nBcc: eve@mail.example",
        "ada@mail.example, eve@mail.example",
        "ada@mail.example eve@mail.example",
        "<ada@mail.example>",
        "ada@@mail.example",
        '"a b"@mail.example',
        ".ada@mail.example",
        "a..b@mail.example",
        "@mail.example",
        "ada@",
        "ada@-mail.example",
        "ada@mail..example",
        "ada@mail.example;",
        "ada(comment)@mail.example",
        "ada@[127.0.0.1]",
        "a" * 65 + "@mail.example",
        "ada@" + "m" * 300 + ".example",
        "",
    ],
)
def test_what_is_no_address_is_refused(address):
    assert not usable_mail(address)
    with pytest.raises(BadHeader):
        build_mail(message(address=address), SETTINGS, NoticeRules())


@pytest.mark.parametrize(
    "address", ["ada@mail.example", "a.b+shoes@mail.example", "zoë@bücher.example", "o'neil@x.co"]
)
def test_usual_addresses_are_taken(address):
    assert usable_mail(address)
