"""Mail: how does a notice go out as e-mail, and which failure means what?

One SMTP connection serves many messages. A 5xx at RCPT that speaks of the mailbox is a bad address.
Other 5xx answers stop the message only. Everything else is tried again (RFC 5321, section 4.2.1).
"""

from __future__ import annotations

import smtplib
import socket
import ssl
from contextlib import suppress
from email.message import EmailMessage

from solespan.api.channels.addresses import MAIL, usable_mail
from solespan.api.channels.deadline import Deadline
from solespan.api.channels.entry import ChannelEntry
from solespan.api.channels.mail.build import BadHeader, build_mail
from solespan.api.channels.message import DeliveryError, Message
from solespan.api.channels.setup import ChannelSettings

__all__ = ["ENTRY", "Mail", "speaks_of_mailbox"]

TIMEOUT_S = 30.0  # for all of one mail: connection, sign-in and handing over
PARTING_S = 2.0
_READY = 220
_CLOSING = 421  # RFC 5321, section 3.8: the server ends the connection
# RFC 5321, 4.2.3: no such mailbox, not here, not allowed. Others speak of server or policy.
_NO_MAILBOX = (550, 551, 553)
_OF_THE_SENDER = ("5.1.7", "5.1.8")  # RFC 3463, 3.2: the other codes 5.1 speak of the recipient
_MAILBOX_CLOSED = "5.2.1"  # RFC 3463, 3.3


class Mail:
    """E-mail over SMTP, by the operator's server."""

    needs_address = True

    def __init__(self, setup: ChannelSettings) -> None:
        self._settings = setup.settings
        self._rules = setup.rules
        self._connection: smtplib.SMTP | None = None

    @property
    def missing(self) -> str:
        """Say which settings must be set."""
        needed = {
            "SOLESPAN_SMTP_HOST": self._settings.smtp_host,
            "SOLESPAN_SMTP_FROM": self._settings.smtp_from or self._rules.mail_from,
        }
        absent = [name for name, value in needed.items() if not value]
        return f"Set {' and '.join(absent)} to send mail." if absent else ""

    def send(self, message: Message) -> None:
        """Send one mail. Raises `DeliveryError`."""
        if message.address is None or not usable_mail(message.address):
            raise DeliveryError(
                "the address cannot be one: it needs a name, one @ and a domain",
                permanent=True,
                bad_address=True,
            )
        try:
            built = build_mail(message, self._settings, self._rules)
        except BadHeader as cause:
            raise DeliveryError(str(cause), permanent=True) from None
        with Deadline(TIMEOUT_S) as deadline:
            self._send(built, message.address, deadline)

    def _send(self, built: EmailMessage, address: str, deadline: Deadline) -> None:
        reused = self._connection is not None
        try:
            self._hand_over(built, address, deadline)
        except (OSError, smtplib.SMTPException, ValueError) as failure:
            if not (reused and _connection_ended(failure)) or deadline.over:
                raise self._told(failure, late=deadline.over) from None
            # a server may end a connection after some mails or some time: a new one goes on
            self.close()
            try:
                self._hand_over(built, address, deadline)
            except (OSError, smtplib.SMTPException, ValueError) as again:
                raise self._told(again, late=deadline.over) from None

    def _hand_over(self, built: EmailMessage, address: str, deadline: Deadline) -> None:
        if self._connection is None:
            self._connection = self._connected(deadline)
        elif self._connection.sock is not None:
            deadline.guard(self._connection.sock)
        # the envelope stays the operator's, to whom failures come back
        sender = self._settings.smtp_from or self._rules.mail_from
        self._connection.send_message(built, str(sender), [address])

    def _told(self, failure: Exception, *, late: bool) -> DeliveryError:
        """Say what a failure means. The connection goes on only after a refused recipient."""
        if late:
            self.close()
            why = f"the mail server did not take it within {TIMEOUT_S:g} s"
            return DeliveryError(why, permanent=False)
        if isinstance(failure, smtplib.SMTPRecipientsRefused):
            code, said = next(iter(failure.recipients.values()))
            return _error("the server refused the recipient", code, said, bad_address=True)
        was_open = self._connection is not None
        self.close()
        if isinstance(failure, smtplib.SMTPNotSupportedError) and was_open:
            why = "the server does not take addresses in this script (RFC 6531)"
            return DeliveryError(why, permanent=True)
        if isinstance(failure, smtplib.SMTPDataError):
            return _error("the server refused it", failure.smtp_code, failure.smtp_error)
        # sender, sign-in, connection: the operator's to correct, and worth another try once it is
        answered = getattr(failure, "smtp_code", None)
        shown = type(failure).__name__ + (f" {answered}" if answered else "")
        return DeliveryError(f"the mail server could not be used ({shown})", permanent=False)

    def close(self) -> None:
        """End the connection."""
        connection, self._connection = self._connection, None
        if connection is not None and connection.sock is not None:
            with Deadline(PARTING_S) as deadline:
                deadline.guard(connection.sock)
                with suppress(OSError, smtplib.SMTPException, ValueError):
                    connection.quit()
                connection.close()

    def _connected(self, deadline: Deadline) -> smtplib.SMTP:
        settings = self._settings
        host, port = str(settings.smtp_host), settings.smtp_port
        context = ssl.create_default_context()
        opened = _Connection(deadline, context if settings.smtp_security == "tls" else None)
        try:
            opened.greet(host, port)
            if settings.smtp_security == "starttls":
                opened.starttls(context=context)
            if settings.smtp_user and settings.smtp_password is not None:
                opened.login(settings.smtp_user, settings.smtp_password.get_secret_value())
        except BaseException:
            opened.close()
            raise
        return opened


class _Connection(smtplib.SMTP):
    """An SMTP connection that ends with its deadline, from the first byte on."""

    def __init__(self, deadline: Deadline, context: ssl.SSLContext | None) -> None:
        self._deadline, self._context = deadline, context
        super().__init__(timeout=TIMEOUT_S)

    def greet(self, host: str, port: int) -> None:
        """Connect, and refuse a server that does not greet, as the library's own opening does."""
        self._host = host  # the library takes the name for TLS from here
        code, said = self.connect(host, port)
        if code != _READY:
            self.close()
            raise smtplib.SMTPConnectError(code, said)

    def _get_socket(self, host: str, port: int, _timeout: float) -> socket.socket:
        opened = self._deadline.guard(
            socket.create_connection((host, port), self._deadline.remaining_s)
        )
        if self._context is None:
            return opened
        return self._context.wrap_socket(opened, server_hostname=host)


def _connection_ended(failure: Exception) -> bool:
    code = getattr(failure, "smtp_code", None)
    return isinstance(failure, smtplib.SMTPServerDisconnected) or code == _CLOSING


def _error(what: str, code: int, said: bytes | str, *, bad_address: bool = False) -> DeliveryError:
    """Keep the code (RFC 3463's too, if any), not the words: servers repeat the address in them."""
    text = said.decode("ascii", "replace") if isinstance(said, bytes) else said
    enhanced = text.split(" ", 1)[0]
    shown = f"{code} {enhanced}" if enhanced[:2] in ("4.", "5.") and len(enhanced) < 12 else code
    permanent = 500 <= code <= 599
    bad = bad_address and permanent and speaks_of_mailbox(enhanced, code)
    return DeliveryError(f"{what} ({shown})", permanent=permanent, bad_address=bad)


def speaks_of_mailbox(enhanced: str, code: int = 0) -> bool:
    """Whether a refusal is about the mailbox: a server that relays for nobody condemns none."""
    if enhanced.startswith("5."):
        addressed = enhanced.startswith("5.1.") and enhanced not in _OF_THE_SENDER
        return addressed or enhanced == _MAILBOX_CLOSED
    return code in _NO_MAILBOX


ENTRY = ChannelEntry("mail", Mail, "mail", MAIL, parts=("subject", "text", "html"))
