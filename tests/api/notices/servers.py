"""Which real servers do the tests send to: SMTP, and HTTP for the webhook?"""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller


class Mailbox:
    """An SMTP server's handler: keeps what it takes, refuses what it is told to.

    `refuse` maps an address to the answer at RCPT; `refuse_data` is the answer after DATA, if any.
    """

    def __init__(self) -> None:
        self.taken: list[bytes] = []
        self.recipients: list[list[str]] = []
        self.refuse: dict[str, str] = {}
        self.refuse_data: str | None = None
        self.senders_refused = False

    @property
    def mails(self) -> list[EmailMessage]:
        return [message_from_bytes(raw, policy=default) for raw in self.taken]

    async def handle_MAIL(self, _server, _session, envelope, address, options):  # noqa: N802
        if self.senders_refused:
            return "550 5.7.1 not from you"
        envelope.mail_from = address
        envelope.mail_options.extend(options)
        return "250 OK"

    async def handle_RCPT(self, _server, _session, envelope, address, options):  # noqa: N802
        if address in self.refuse:
            return self.refuse[address]
        envelope.rcpt_tos.append(address)
        envelope.rcpt_options.extend(options)
        return "250 OK"

    async def handle_DATA(self, _server, _session, envelope):  # noqa: N802
        if self.refuse_data is not None:
            return self.refuse_data
        self.taken.append(envelope.content)
        self.recipients.append(list(envelope.rcpt_tos))
        return "250 OK"


class _AnyPort(Controller):
    """A controller that takes whichever port is free."""

    def _trigger_server(self) -> None:
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


@contextmanager
def mail_server(mailbox: Mailbox) -> Iterator[int]:
    """Run an SMTP server on a free port of this machine; give the port."""
    controller = _AnyPort(
        mailbox, hostname="127.0.0.1", port=0, enable_SMTPUTF8=True, ready_timeout=120
    )
    controller.start()
    try:
        yield controller.port
    finally:
        controller.stop()


class Hook:
    """What a webhook's receiver was sent, and what it answers."""

    def __init__(self) -> None:
        self.posts: list[tuple[dict[str, str], bytes]] = []
        self.status = 200
        self.location = ""

    def bodies(self) -> list[dict[str, Any]]:
        return [json.loads(body) for _, body in self.posts]


@contextmanager
def hook_server(hook: Hook) -> Iterator[str]:
    """Run a receiver on a free port of this machine; give its address."""

    class Receiver(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["content-length"]))
            headers = {name.lower(): value for name, value in self.headers.items()}
            hook.posts.append((headers, body))
            self.send_response(hook.status)
            if hook.location:
                self.send_header("Location", hook.location)
            self.end_headers()

        def log_message(self, *_args) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/notices?shop=1"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
