"""Mail message (RFC 5322).

How does a message look as RFC 5322 text, with the headers that let a reader leave in one click?

No value can add a header: names and subjects are one line, and an address that could be more than
an address is refused.
"""

from __future__ import annotations

import hashlib
from email.errors import MessageError
from email.headerregistry import Address, BaseHeader, HeaderRegistry, UnstructuredHeader
from email.message import EmailMessage
from email.policy import SMTP, Policy
from email.utils import format_datetime

from solespan.api.channels.addresses import usable_mail
from solespan.api.channels.message import Message
from solespan.api.channels.setup import ShopRules
from solespan.api.settings import Settings

__all__ = ["BadHeader", "build_mail"]


class _OneLine(UnstructuredHeader, BaseHeader):
    """A header whose value stays as it is: a mail reader takes no address out of encoded words.

    Without it every address of more than 76 characters would be written in them (RFC 2047), which
    RFC 2369 has no place for. A line may have 998 characters (RFC 5322, 2.1.1).
    """

    def fold(self, *, policy: Policy) -> str:
        """Write the header as one line."""
        return f"{self.name}: {self}{policy.linesep}"


_HEADERS = HeaderRegistry()
for _name in ("message-id", "list-unsubscribe", "list-unsubscribe-post"):
    _HEADERS.map_to_type(_name, _OneLine)
_POLICY = SMTP.clone(header_factory=_HEADERS)


class BadHeader(ValueError):
    """A value cannot stand in a header."""


def build_mail(message: Message, settings: Settings, rules: ShopRules) -> EmailMessage:
    """Build the mail. Raises `BadHeader`."""
    mail = EmailMessage(policy=_POLICY)
    try:
        mail["From"] = _addressed(rules.shop_name, str(rules.mail_from or settings.smtp_from))
        mail["To"] = _addressed(message.customer_name, str(message.address))
        if rules.reply_to:
            mail["Reply-To"] = _addressed("", rules.reply_to)
        mail["Subject"] = _one_line(message.subject)
        mail["Date"] = format_datetime(message.made_at)
        mail["Message-ID"] = message.message_id
        mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: no machine is to answer
        if message.unsubscribe_url:
            mail["List-Unsubscribe"] = f"<{message.unsubscribe_url}>"  # RFC 2369
        if message.unsubscribe_url.startswith("https:"):
            mail["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"  # RFC 8058
        mail.set_content(message.text)
        mail.add_alternative(message.html, subtype="html")
        if message.calendar:  # RFC 6047, section 2.4
            method = {"method": message.calendar_method}
            mail.add_alternative(message.calendar, subtype="calendar", params=method)
        mail.set_boundary(_boundary(message.message_id))
        _add_pictures(mail, message)
    except (ValueError, MessageError) as cause:
        raise BadHeader("a name, subject or address cannot be part of a header") from cause
    return mail


def _add_pictures(mail: EmailMessage, message: Message) -> None:
    """Put pictures beside the HTML that shows them (RFC 2387); without any, nothing changes."""
    html = mail.get_body(("html",))
    if html is None or not message.pictures:
        return
    for picture in message.pictures:
        main, _, sub = picture.media_type.partition("/")
        html.add_related(picture.content, main, sub, cid=f"<{picture.cid}>", disposition="inline")
    html.set_boundary(_boundary(f"pictures of {message.message_id}"))


def _boundary(message_id: str) -> str:
    """Part a mail by what its id gives, so that a repeat is the same to the last byte."""
    return "=_" + hashlib.sha256(message_id.encode()).hexdigest()[:40]


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _addressed(name: str, address: str) -> Address:
    if not usable_mail(address):
        raise BadHeader("an address cannot be part of a header")
    local, _, domain = address.rpartition("@")
    return Address(_one_line(name), local, domain)
