"""Do all channels keep the one contract, and each its own promises?"""

from __future__ import annotations

import base64
import hashlib
import hmac
from contextlib import ExitStack
from datetime import UTC, datetime

import pytest

from solespan.api.channels import CHANNELS, ChannelSettings
from solespan.api.channels.message import Channel, DeliveryError, Message
from solespan.api.channels.webhook.signed_post import secret_of_bytes
from solespan.api.clock import Clock
from solespan.api.schemas.notices.notices import CHANNEL_NAMES, NoticeRules
from solespan.api.settings import Settings
from tests.api.notices.servers import Hook, Mailbox, hook_server, mail_server

KEY = b"a key of 32 bytes for the tests."
SECRET = secret_of_bytes(KEY)
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


def message(n: int = 1, **more: object) -> Message:
    plain = {
        "message_id": f"<{n}.x@shop.example>",
        "notice_id": f"{n:032x}",
        "made_at": NOW,
        "customer_id": "ada",
        "customer_name": "Ada Ünal",
        "address": "ada@mail.example",
        "subject": "Oxford: a new sole",
        "text": "Hello Ada,\nit is time.\n",
        "html": "<p>Hello Ada</p>",
        "unsubscribe_url": "https://shop.example/unsubscribe/x",
        "pairs": [{"pair_id": "oxford", "label": "Oxford", "when": "in mid-March"}],
    }
    return Message(**(plain | more))


def to(name: str) -> str:
    """Give an address of a channel's kind."""
    return "+4312345678" if CHANNELS[name].address.name == "telephone" else "ada@mail.example"


class Bench:
    """One channel with the server it sends to: `arrived` counts what came."""

    def __init__(self, name: str, stack: ExitStack) -> None:
        self.mailbox, self.hook = Mailbox(), Hook()
        settings, rules = Settings(), NoticeRules(shop_name="Shop")
        if name == "mail":
            port = stack.enter_context(mail_server(self.mailbox))
            settings = Settings(
                smtp_host="127.0.0.1",
                smtp_port=port,
                smtp_security="plain",
                smtp_from="bench@shop.example",
            )
        if name in ("webhook", "sms"):
            url = stack.enter_context(hook_server(self.hook))
            settings = Settings(webhook_private_addresses=True)
            rules = rules.model_copy(update={f"{name}_url": url})
        self.setup = ChannelSettings(settings, rules, SECRET, Clock(lambda: NOW))
        self.channel = CHANNELS[name].make(self.setup)

    def arrived(self) -> int:
        return len(self.mailbox.taken) + len(self.hook.posts)


@pytest.fixture
def bench():
    with ExitStack() as stack:

        def open_bench(name: str) -> Bench:
            made = Bench(name, stack)
            stack.callback(made.channel.close)
            return made

        yield open_bench


def test_the_register_and_the_rules_know_the_same_channels():
    assert tuple(CHANNELS) == CHANNEL_NAMES


@pytest.mark.parametrize("name", CHANNELS)
def test_every_channel_keeps_the_contract(bench, name):
    made = bench(name)
    channel = made.channel
    assert isinstance(channel, Channel)
    assert channel.missing == ""
    assert channel.needs_address in (True, False)
    sent = message(address=to(name))
    assert channel.send(sent) is None
    assert sent == message(address=to(name)), "what is sent is not changed"
    channel.close()
    channel.close()
    channel.send(message(2, address=to(name)))
    assert made.arrived() in (0, 2), "after closing it opens anew"
    if not CHANNELS[name].short:
        channel.send(message(3, address=to(name), customer_name="", text="x" * 100_000))
    if not channel.needs_address:
        channel.send(message(4, address=None))
    else:
        with pytest.raises(DeliveryError) as caught:
            channel.send(message(4, address=None))
        assert caught.value.permanent


@pytest.mark.parametrize("name", [n for n in CHANNELS if n != "print"])
def test_every_channel_says_what_it_lacks_and_names_nobody_when_it_fails(name):
    setup = ChannelSettings(Settings(), NoticeRules(), "", Clock(lambda: NOW))
    assert CHANNELS[name].make(setup).missing
    nowhere = Settings(
        smtp_host="127.0.0.1",
        smtp_port=9,
        smtp_security="plain",
        smtp_from="bench@shop.example",
        webhook_private_addresses=True,
    )
    rules = NoticeRules(webhook_url="http://127.0.0.1:9/", sms_url="http://127.0.0.1:9/")
    channel = CHANNELS[name].make(ChannelSettings(nowhere, rules, SECRET, Clock(lambda: NOW)))
    with pytest.raises(DeliveryError) as caught:
        channel.send(message(address=to(name)))
    assert not caught.value.permanent
    assert not caught.value.bad_address
    assert "ada" not in caught.value.reason.lower()


def test_a_server_that_ends_the_connection_between_mails_costs_nothing(bench):
    made = bench("mail")
    made.channel.send(message())
    made.channel._connection.sock.shutdown(2)
    made.channel.send(message(2))
    assert len(made.mailbox.taken) == 2


@pytest.mark.parametrize(
    ("prepare", "permanent", "bad_address"),
    [
        (lambda m: m.refuse.update({"ada@mail.example": "550 5.1.1 no"}), True, True),
        (lambda m: m.refuse.update({"ada@mail.example": "550 no such person"}), True, True),
        (lambda m: m.refuse.update({"ada@mail.example": "554 5.7.1 relay denied"}), True, False),
        (lambda m: m.refuse.update({"ada@mail.example": "550 5.7.1 you are listed"}), True, False),
        (lambda m: m.refuse.update({"ada@mail.example": "550 5.1.8 bad sender"}), True, False),
        (lambda m: m.refuse.update({"ada@mail.example": "452 4.2.2 full"}), False, False),
        (lambda m: setattr(m, "refuse_data", "554 5.7.1 no"), True, False),
        (lambda m: setattr(m, "refuse_data", "451 4.3.0 later"), False, False),
        (lambda m: setattr(m, "senders_refused", True), False, False),
    ],
)
def test_what_a_mail_server_answers_decides_what_becomes_of_it(
    bench, prepare, permanent, bad_address
):
    """RFC 5321, 4.2.1: 4yz is for now, 5yz for good; only RCPT may speak of the address."""
    made = bench("mail")
    prepare(made.mailbox)
    with pytest.raises(DeliveryError) as caught:
        made.channel.send(message())
    assert caught.value.permanent is permanent
    assert caught.value.bad_address is bad_address
    made.mailbox.refuse, made.mailbox.refuse_data = {}, None
    made.mailbox.senders_refused = False
    made.channel.send(message(2))
    assert len(made.mailbox.taken) == 1


def test_an_address_in_another_script_arrives_where_the_server_takes_it(bench):
    made = bench("mail")
    made.channel.send(message(address="zoë@bücher.example"))
    assert made.mailbox.recipients == [["zoë@bücher.example"]]


def test_a_webhook_is_signed_so_that_its_receiver_can_trust_it(bench):
    made = bench("webhook")
    made.channel.send(message())
    headers, body = made.hook.posts[0]
    assert headers["webhook-id"] == message().notice_id
    assert headers["webhook-timestamp"] == str(int(NOW.timestamp()))
    signed = f"{message().notice_id}.{int(NOW.timestamp())}.".encode() + body
    digest = base64.b64encode(hmac.digest(KEY, signed, hashlib.sha256)).decode()
    assert headers["webhook-signature"] == f"v1,{digest}"
    told = made.hook.bodies()[0]
    assert told["message_id"] == message().message_id
    assert told["pairs"][0]["label"] == "Oxford"


@pytest.mark.parametrize(
    ("status", "permanent"), [(400, True), (404, True), (410, True), (429, False), (503, False)]
)
def test_what_a_webhook_answers_decides_what_becomes_of_it(bench, status, permanent):
    made = bench("webhook")
    made.hook.status = status
    with pytest.raises(DeliveryError, match=str(status)) as caught:
        made.channel.send(message())
    assert caught.value.permanent is permanent


def test_a_webhook_follows_no_redirect(bench):
    made = bench("webhook")
    made.hook.status, made.hook.location = 307, "http://169.254.169.254/"
    with pytest.raises(DeliveryError, match="redirects are not followed") as caught:
        made.channel.send(message())
    assert caught.value.permanent
    assert len(made.hook.posts) == 1


def test_a_webhook_inside_the_network_is_refused_unless_allowed(bench):
    made = bench("webhook")
    rules = made.setup.rules
    strict = CHANNELS["webhook"].make(
        ChannelSettings(Settings(), rules, SECRET, Clock(lambda: NOW))
    )
    with pytest.raises(DeliveryError, match="SOLESPAN_WEBHOOK_PRIVATE_ADDRESSES") as caught:
        strict.send(message())
    assert caught.value.permanent
    assert made.hook.posts == []


def test_an_empty_letter_is_no_letter():
    setup = ChannelSettings(Settings(), NoticeRules(), "", Clock(lambda: NOW))
    with pytest.raises(DeliveryError, match="empty"):
        CHANNELS["print"].make(setup).send(message(text=" \n"))
