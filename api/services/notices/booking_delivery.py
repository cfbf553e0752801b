"""Booking delivery service: which messages of booked days are due, and what became of each?

One process at a time does the round of a tenant. Where it dies between sending and marking, the
mail is sent again with the same Message-ID and the same sequence.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, time, timedelta
from typing import Any

import structlog
from sqlalchemy.orm import Session

from solespan.api.channels.mail import Mail
from solespan.api.channels.message import DeliveryError, Message
from solespan.api.channels.retry import next_try
from solespan.api.channels.setup import ChannelSettings
from solespan.api.errors import BadSetting
from solespan.api.logs import places_of
from solespan.api.notices.links import Link, sign_link
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.services.bench.booking.messages import tell_untold
from solespan.api.services.context import AppContext
from solespan.api.services.notices.booking_mail import booking_mail
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.notices.delivery_config import link_base, mail_domain, secret_of
from solespan.api.services.notices.sending import BAD_ADDRESS
from solespan.api.services.periodic_loop import alone
from solespan.api.storage.bench import booking_messages as stored
from solespan.api.storage.notices.consents import address_hash, load_stopped, stop_address

__all__ = ["booking_path", "next_round", "send_booking_mails"]

log = structlog.get_logger("solespan.bookings")

LEASE_NAME = "booking_mails"
MOST_MESSAGES = 20  # of one round
LINK_LASTS_AFTER = timedelta(days=30)
_GONE = "the booking was changed or cancelled"


def next_round(session: Session) -> datetime | None:
    """Return when there is something to send; None = nothing waits."""
    return stored.next_due(session)


def booking_path(ctx: AppContext, message_id: str, day: Any) -> str:
    """Return the path of the customer's own page of a booking. Raises `BadSetting`."""
    ends = datetime.combine(day, time(), UTC) + LINK_LASTS_AFTER
    link = Link("booking", ctx.database.tenant_pk, message_id, 0, ends)
    return f"/bookings/{sign_link(link, secret_of(ctx))}"


def send_booking_mails(
    ctx: AppContext,
    stop: Callable[[], bool] = lambda: False,
    chance: Callable[[], float] | None = None,
) -> int:
    """Send what is due now; return how many mails went out."""
    with ctx.database.reading() as session:
        due = stored.next_due(session)
    if due is None or due > ctx.clock.now():
        return 0
    with alone(ctx.database, ctx.clock.now, LEASE_NAME) as mine:
        return _send(ctx, stop, chance or random.SystemRandom().random) if mine else 0


def _send(ctx: AppContext, stop: Callable[[], bool], chance: Callable[[], float]) -> int:
    with ctx.database.writing() as session:
        tell_untold(session, ctx.clock)
    with ctx.database.reading() as session:
        rows = stored.due_messages(session, ctx.clock.now(), MOST_MESSAGES)
        rules, _ = read_rules(session)
        hashes = {address_hash(row["email"]) for row in rows if row["email"]}
        stopped = load_stopped(session, hashes)
    mail = Mail(ChannelSettings(ctx.settings, rules, "", ctx.clock))
    sent = 0
    try:
        for row in rows:
            if stop():
                break
            refused = bool(row["email"]) and address_hash(row["email"]) in stopped
            sent += _one(ctx, row, mail, rules, chance, refused=refused)
    finally:
        mail.close()
    return sent


def _one(
    ctx: AppContext,
    row: Mapping[str, Any],
    mail: Mail,
    rules: NoticeRules,
    chance: Callable[[], float],
    *,
    refused: bool,
) -> bool:
    now, attempts = ctx.clock.now(), row["attempts"] + 1
    holds = row["stage"] in stored.WAITING and row["expected_on"] == row["day"]
    if row["kind"] != "cancel" and not holds:
        _mark(ctx, row, "cancelled", attempts - 1, _GONE)
        return False
    problem, at, bad = None, None, False
    try:
        mail.send(_message(ctx, row, mail, rules, refused=refused))
    except DeliveryError as failure:
        problem, bad = failure.reason, failure.bad_address
        at = None if failure.permanent else next_try(now, row["made_at"], attempts, chance())
    except Exception as failure:  # noqa: BLE001 - a fault of ours must not end the worker
        log.error("booking_mail_failed", **places_of(failure))  # noqa: TRY400
        problem = f"the program failed ({type(failure).__name__}); its log says where"
    state = "sent" if problem is None else "failed" if at is None else "pending"
    _mark(ctx, row, state, attempts, problem, at, bad=bad)
    return state == "sent"


def _message(
    ctx: AppContext, row: Mapping[str, Any], mail: Mail, rules: NoticeRules, *, refused: bool
) -> Message:
    if refused:
        raise DeliveryError(BAD_ADDRESS, permanent=True)
    if mail.missing:
        raise DeliveryError(mail.missing, permanent=False)
    if row["email"] is None:
        raise DeliveryError("there is no mail address any more", permanent=True)
    try:
        link = link_base(ctx) + booking_path(ctx, row["message_id"], row["day"])
        organizer = rules.reply_to or str(ctx.settings.smtp_from)
        return booking_mail(row, rules, organizer=organizer, link=link, domain=mail_domain(ctx))
    except BadSetting as missing:
        raise DeliveryError(f"{missing.what} {missing.remedy}", permanent=False) from None


def _mark(
    ctx: AppContext,
    row: Mapping[str, Any],
    state: str,
    attempts: int,
    problem: str | None,
    at: datetime | None = None,
    *,
    bad: bool = False,
) -> None:
    values: dict[str, Any] = {"state": state, "attempts": attempts, "problem": problem}
    if at is not None:
        values["next_try_at"] = at
    with ctx.database.writing() as session:
        stored.mark_message(session, row["id"], **values)
        if bad and row["email"]:
            stop_address(session, row["email"], str(problem), ctx.clock.now())
    log.info("booking_mail", kind=row["kind"], state=state, attempt=attempts)
