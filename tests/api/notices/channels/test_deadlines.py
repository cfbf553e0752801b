"""Does a sending end in time whose server answers byte by byte, for ever?"""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import suppress

import pytest

from solespan.api.channels import CHANNELS
from solespan.api.channels.deadline import Deadline
from solespan.api.channels.message import DeliveryError
from solespan.api.channels.setup import ChannelSettings
from solespan.api.channels.webhook.signed_post import new_secret
from solespan.api.clock import Clock
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.settings import Settings
from tests.api.notices.channels.test_channels import NOW, message

BEGINNINGS = {
    "webhook": [b"", b"HTTP/1.1 ", b"HTTP/1.1 200 OK\r\nX: ", b"HTTP/1.1 100 Continue\r\n\r\n" * 9],
    "mail": [b"", b"220-", b"220 hello\r\n250-", b"220 hello\r\n250 ok\r\n250 ok\r\n250 ok\r\n354"],
}
CASES = [(name, beginning) for name, all_of in BEGINNINGS.items() for beginning in all_of]


@pytest.fixture
def drip() -> Iterator[tuple[list[bytes], int]]:
    """Run a server that says what it is told and then a byte now and then; give its port."""
    listening = socket.create_server(("127.0.0.1", 0))
    says: list[bytes] = []
    over = threading.Event()

    def serve() -> None:
        with suppress(OSError):
            while True:
                connection, _ = listening.accept()
                with connection, suppress(OSError):
                    connection.sendall(says[0])
                    while not over.wait(0.02):
                        connection.sendall(b"x")

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    yield says, listening.getsockname()[1]
    over.set()
    listening.shutdown(socket.SHUT_RDWR)
    listening.close()
    thread.join()


@pytest.mark.parametrize(("name", "beginning"), CASES)
def test_a_server_that_drips_holds_nobody_for_longer_than_the_whole_time(
    drip, name, beginning, monkeypatch
):
    says, port = drip
    says.append(beginning)
    module = {"webhook": "webhook.signed_post"}.get(name, name)
    monkeypatch.setattr(f"solespan.api.channels.{module}.TIMEOUT_S", 0.2)
    settings = Settings(
        webhook_private_addresses=True,
        smtp_host="127.0.0.1",
        smtp_port=port,
        smtp_security="plain",
        smtp_from="bench@shop.example",
    )
    rules = NoticeRules(webhook_url=f"http://127.0.0.1:{port}/")
    channel = CHANNELS[name].make(
        ChannelSettings(settings, rules, new_secret(), Clock(lambda: NOW))
    )
    with pytest.raises(DeliveryError, match=r"within 0\.2 s") as caught:
        channel.send(message())
    assert not caught.value.permanent
    channel.close()


def test_nothing_is_begun_once_the_time_is_over():
    with Deadline(60) as deadline:
        assert deadline.remaining_s > 0
        deadline.end()
        with pytest.raises(TimeoutError):
            assert deadline.remaining_s
