"""First-run checklist: what must a shop still do until notices can go out?

The steps are in the owner's words. A step about hours, prices or rules is done once the shop has
saved that section, also where it keeps the defaults.
"""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from solespan.api.channels.addresses import usable_mail
from solespan.api.channels.message import DeliveryError, Message
from solespan.api.errors import Refused
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.services.context import AppContext
from solespan.api.services.notices.choices import RULES, read_rules
from solespan.api.services.notices.delivery_config import channels_of, link_base, mail_domain
from solespan.api.services.operation.settings.sections import FIRST_RUN, set_groups
from solespan.api.services.shop_choices import SHOP
from solespan.api.storage.notices.consents import anybody_agreed
from solespan.api.storage.shop_settings import find_setting, put_setting

__all__ = ["MAIL_STEP", "first_run", "send_test_mail"]

MAIL_STEP = "test_mail"


def first_run(ctx: AppContext, session: Session) -> list[dict[str, Any]]:
    """Return the steps, each with `name`, `title`, `why`, `address` and `done`."""
    known = set_groups(session)
    bench, own_rules = known.get("bench", {}), known.get(RULES, {})
    rules = NoticeRules.model_validate(own_rules)
    customers, agreed = anybody_agreed(session)
    settings, mail = ctx.settings, "mail" in rules.channels
    reached = settings.secret_key is not None and settings.public_address is not None
    sender = bool(rules.shop_name) and bool(rules.shop_contact.strip())
    server = settings.smtp_host is not None and bool(settings.smtp_from or rules.mail_from)
    steps = [
        ("hours", "Say when the bench is open", "Promised days and waits follow from it.",
         "/settings/hours", "hours_by_weekday" in bench),
        ("prices", "Check your prices", "Quotes and the year ahead use them.",
         "/settings/prices", "price_minor" in bench),
        ("shop", "Choose the language and time zone", "Quiet hours and dates follow them.",
         "/settings/shop", "time_zone" in known.get(SHOP, {})),
        ("sender", "Say who writes, and how to reach you",
         "Every mail and letter begins and ends with it.", "/settings/sender", sender),
        ("rules", "Decide when customers hear from you", "Mail or letter, how early, how often.",
         "/settings/notices", "channels" in own_rules),
        ("customers", "Write down your customers", "A list of yours can be read as it is.",
         "/import", customers),
        ("consents", "Note who agreed to hear from you", "Nobody else is ever written to.",
         "/notices/customers", agreed),
        ("reached", "Let customers open this service from their phone",
         "The person who runs this machine does it. It gives links in mails their address.",
         "/help/operator/mail", reached),
    ]  # fmt: skip
    if mail:
        steps += [
            ("server", "Connect your mail server",
             "The person who runs this machine does it, once.", "/help/operator/mail", server),
            (MAIL_STEP, "Send a test mail to yourself", "See it as a customer would.",
             "/settings#test-mail", bool(known.get(FIRST_RUN, {}).get("test_mail_on"))),
        ]  # fmt: skip
    return [
        dict(zip(("name", "title", "why", "address", "done"), step, strict=True)) for step in steps
    ]


def send_test_mail(ctx: AppContext, address: str) -> None:
    """Send a mail to the shop itself by the way that notices go, and note that it was taken.

    Raises `Refused`, and `BadSetting` while the machine is not ready for mail.
    """
    if not usable_mail(address):
        raise Refused(
            "This is no address of a mailbox.", where="address", accepted="name@example.org",
            remedy="Correct it and send again.",
        )  # fmt: skip
    with ctx.database.reading() as session:
        rules, _ = read_rules(session)
    channel = channels_of(ctx, rules)["mail"]
    if channel.missing:
        raise Refused(
            "This service has no mail server or no sender address yet.",
            where="address",
            remedy="Do the step about the mail server first.",
        )
    words = f"This is a test mail of {rules.shop_name or 'your shop'}. Notices arrive like this."
    message = Message(
        message_id=f"<{uuid4().hex}@{mail_domain(ctx)}>",
        notice_id="test",
        made_at=ctx.clock.now(),
        customer_id="",
        customer_name="",
        address=address,
        subject=f"Test mail of {rules.shop_name or 'your shop'}",
        text=f"{words}\n\n{rules.shop_contact}\n",
        html=f"<p>{words}</p>",
        unsubscribe_url=f"{link_base(ctx)}/settings",
        pairs=(),
    )
    try:
        channel.send(message)
    except DeliveryError as failure:
        raise Refused(
            f"The test mail was not taken: {failure.reason}.",
            where="address",
            remedy="Show this sentence to the person who runs this machine.",
        ) from failure
    finally:
        channel.close()
    with ctx.database.writing() as session:
        _, version = find_setting(session, FIRST_RUN, lock=True) or ({}, 0)
        put_setting(session, FIRST_RUN, {"test_mail_on": ctx.clock.today().isoformat()}, version)
