"""How does a notice go out as e-mail, and which failure means what?

One SMTP connection serves many messages. A recipient refused with 5xx at RCPT is a bad address;
other 5xx answers stop the message only; everything else is tried again (RFC 5321, section 4.2.1).
"""

from __future__ import annotations

import smtplib
import ssl
from contextlib import suppress

from api.notices.channels.mail.build import BadHeader, build_mail, usable_address
from api.notices.channels.setup import ChannelSettings
from api.notices.message import DeliveryError, Message

__all__ = ["Mail"]

TIMEOUT_S = 30.0
_DONE = 250


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
            "SOLESPAN_SMTP_FROM": self._settings.smtp_from,
        }
        absent = [name for name, value in needed.items() if not value]
        return f"Set {' and '.join(absent)} to send mail." if absent else ""

    def send(self, message: Message) -> None:
        """Send one mail. Raises `DeliveryError`."""
        if message.address is None or not usable_address(message.address):
            raise DeliveryError(
                "the address cannot be one: it needs a name, one @ and a domain",
                permanent=True,
                bad_address=True,
            )
        try:
            built = build_mail(message, self._settings, self._rules)
        except BadHeader as cause:
            raise DeliveryError(str(cause), permanent=True) from None
        connection = self._usable()
        try:
            connection.send_message(built, str(self._settings.smtp_from), [message.address])
        except smtplib.SMTPRecipientsRefused as refused:
            code, said = next(iter(refused.recipients.values()))
            raise _error("the server refused the recipient", code, said, bad_address=True) from None
        except smtplib.SMTPNotSupportedError:
            raise DeliveryError(
                "the server does not take addresses in this script (RFC 6531)", permanent=True
            ) from None
        except smtplib.SMTPSenderRefused as refused:
            # the operator's to mend, and worth another try once it is
            self.close()
            raise DeliveryError(
                f"the server refused the sender ({refused.smtp_code})", permanent=False
            ) from None
        except smtplib.SMTPResponseException as refused:
            self.close()
            raise _error("the server refused it", refused.smtp_code, refused.smtp_error) from None
        except (OSError, smtplib.SMTPException) as failure:
            self.close()
            raise DeliveryError(
                f"the mail server broke off ({type(failure).__name__})", permanent=False
            ) from None

    def close(self) -> None:
        """End the connection."""
        connection, self._connection = self._connection, None
        if connection is not None:
            with suppress(OSError, smtplib.SMTPException):
                connection.quit()

    def _usable(self) -> smtplib.SMTP:
        """Return the open connection if the server still holds it, else a new one."""
        if self._connection is not None:
            with suppress(OSError, smtplib.SMTPException):
                if self._connection.noop()[0] == _DONE:
                    return self._connection
            self._connection.close()
            self._connection = None
        try:
            self._connection = self._connected()
        except (OSError, smtplib.SMTPException) as failure:
            code = getattr(failure, "smtp_code", None)
            shown = type(failure).__name__ + (f" {code}" if code else "")
            raise DeliveryError(
                f"the mail server could not be used ({shown})", permanent=False
            ) from None
        return self._connection

    def _connected(self) -> smtplib.SMTP:
        settings = self._settings
        host, port = str(settings.smtp_host), settings.smtp_port
        context = ssl.create_default_context()
        if settings.smtp_security == "tls":
            opened: smtplib.SMTP = smtplib.SMTP_SSL(host, port, timeout=TIMEOUT_S, context=context)
        else:
            opened = smtplib.SMTP(host, port, timeout=TIMEOUT_S)
        try:
            if settings.smtp_security == "starttls":
                opened.starttls(context=context)
            if settings.smtp_user and settings.smtp_password is not None:
                opened.login(settings.smtp_user, settings.smtp_password.get_secret_value())
        except BaseException:
            opened.close()
            raise
        return opened


def _error(what: str, code: int, said: bytes | str, *, bad_address: bool = False) -> DeliveryError:
    """Keep the code (RFC 3463's too, if any), not the words: servers repeat the address in them."""
    text = said.decode("ascii", "replace") if isinstance(said, bytes) else said
    enhanced = text.split(" ", 1)[0]
    shown = f"{code} {enhanced}" if enhanced[:2] in ("4.", "5.") and len(enhanced) < 12 else code
    permanent = 500 <= code <= 599
    return DeliveryError(
        f"{what} ({shown})", permanent=permanent, bad_address=bad_address and permanent
    )
